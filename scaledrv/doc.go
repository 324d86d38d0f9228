// Package scaledrv turns the bytes of a bench scale into readings.
//
// What goes in: a Link, which opens the port that the bytes come from, and a Shape, which cuts frames out of them and reads
// each. A Driver owns both in one goroutine: it holds back what does not fit the frames around it, asks a scale that sends
// only on request, and opens the port again whenever it is lost, until its context ends. A Recording around a Link keeps the
// raw bytes with their times; a replay link plays them back.
//
// What comes out: one channel of Events, in the order in which things happened. Each is a reading or a change of the
// link: up, silent, down, with what is wrong and what to do. Counters can be read at any time, from any goroutine.
//
// What never happens: a damaged line never becomes a reading, it is counted as rejected; the parts of a line on either
// side of a lost port are never joined; a reading never gets a unit, a digit or a sign that its line does not have;
// nothing is sent to a scale but what its entry states, unless a person lets an identification ask.
//
// What can't be seen: a digit turned into another digit, and a loss of exactly one line's length in the midst of two
// lines. Of the shapes only stx-words can carry a checksum; parity (7E1, 7O1) finds the first. Each shape says what damage
// can pass it. Acceptance of a part needs several readings that agree.
package scaledrv
