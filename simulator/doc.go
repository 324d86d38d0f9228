// Package simulator is a bench in software: a scale, a cup, two jugs and a person's hand. Its true masses go in as
// physics and come out as the lines that a scale sends, written with this package's own code and never with the
// parsers that read them.
//
// A line has its shape, its speed and its frame, and may do harm to what it carries; whoever listens with other settings
// hears what a UART would. PTY and TCP carry it, both ways.
//
// All of it is decided by seeds and by the time that Advance is given; no clock is asked. The same seed and the same
// cues at the same times give the same bytes. Run drives Advance by the clock, real or a test's.
package simulator
