package main

import (
	"io"
	"text/tabwriter"
)

// columns are a table for people, of what may hold anybody's text: notes, names, lots.
func columns(out io.Writer) *tabwriter.Writer {
	return tabwriter.NewWriter(printable{out}, 0, 0, 2, ' ', 0)
}

// printable takes away what a terminal would obey: control characters other than the end of a line, by ASCII, and those of
// ISO 6429 that UTF-8 writes as C2 and a byte from 80 to 9F.
type printable struct{ out io.Writer }

func (p printable) Write(b []byte) (int, error) {
	text := make([]byte, len(b))
	for i, c := range b {
		switch {
		case c < ' ' && c != '\n', c == 0x7f, i > 0 && b[i-1] == 0xc2 && c < 0xa0:
			c = '?'
		}
		text[i] = c
	}
	return p.out.Write(text)
}
