// Package rehearse pours on paper: simulated pours over a stated grid of jobs, liquids, scales and people, by a guided hand
// and by two others to hold it against. Every pour is judged by the simulator's truth. A seed and a cell give the same
// pour, whatever else is run.
//
// The figures are simulated. They prove nothing about people; they say where the guidance is weak before a person finds
// out.
package rehearse
