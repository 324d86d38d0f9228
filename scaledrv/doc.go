// Package scaledrv turns the bytes of a bench scale into readings.
//
// What goes in: a Link, which opens the port that the bytes come from, and a Shape, which reads one line of them. A
// Driver owns both in one goroutine: it cuts the stream into lines, reads them, holds back what does not fit the lines
// around it, and opens the port again whenever it is lost, until its context ends.
//
// What comes out: one channel of Events, in the order in which things happened. Each is a reading or a change of the
// link: up, silent, down. Counters can be read at any time, from any goroutine.
//
// What never happens: a damaged line never becomes a reading, it is counted as rejected; the parts of a line on either
// side of a lost port are never joined; a reading never gets a unit, a digit or a sign that its line does not have;
// nothing is ever sent to a scale.
//
// What can't be seen: a digit turned into another digit, and a loss of exactly one line's length in the midst of two
// lines. A line carries no checksum; parity (7E1, 7O1) finds the first.
package scaledrv
