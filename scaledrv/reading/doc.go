// Package reading is one reading of a bench scale: the digits, unit and flags that the scale itself showed, and the
// exact mass they stand for. Nothing here does I/O, knows a clock or rounds more than once: a Value printed again has
// the digits that came in, and a Mass is an integer number of picograms.
package reading
