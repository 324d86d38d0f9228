package scaledrv

import "cmp"

const (
	stx = 0x02
	etx = 0x03
)

// maxLine is the longest line kept, in bytes without its end; the longest shape has less than half of it.
const maxLine = 128

// lines cuts lines out of a stream. A line ends in CR LF, CR or LF and may stand between STX and ETX, which are taken
// off; empty lines are ignored. What comes before the first end is dropped: it may be half a line. A line longer than
// most is discarded up to its end. The zero lines is ready for a freshly opened port.
type lines struct {
	line     []byte // has room for the longest
	most     int    // the longest line kept; 0 means maxLine
	n        int    // bytes of the line so far, also of one being discarded
	synced   bool   // an end has been seen
	rejected int    // bytes of discarded lines since the last call
}

// next is a cutter's.
func (s *lines) next(chunk []byte) (line, rest []byte, rejected int) {
	s.rejected = 0
	for i, b := range chunk {
		if b != '\r' && b != '\n' {
			s.put(b)
			continue
		}
		n := s.n
		s.n = 0
		if !s.synced || n > len(s.line) {
			s.synced = true
			continue
		}
		if line := unframe(s.line[:n]); len(line) > 0 {
			return line, chunk[i+1:], s.rejected
		}
	}
	return nil, nil, s.rejected
}

// put adds a byte to the line. The byte that makes it too long turns all of it into rejected bytes.
func (s *lines) put(b byte) {
	if s.line == nil {
		s.line = make([]byte, cmp.Or(s.most, maxLine))
	}
	switch most := len(s.line); {
	case !s.synced:
	case s.n < most:
		s.line[s.n] = b
		s.n++
	case s.n == most:
		s.n++
		s.rejected += most + 1
	default:
		s.rejected++
	}
}

func unframe(line []byte) []byte {
	if len(line) > 0 && line[0] == stx {
		line = line[1:]
	}
	if len(line) > 0 && line[len(line)-1] == etx {
		line = line[:len(line)-1]
	}
	return line
}
