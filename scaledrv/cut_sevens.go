package scaledrv

// sevens cuts frames of an equals sign and seven characters out of a stream, with or without line ends between them.
// What comes before the first equals sign is dropped: it may be half a frame. The frame of a scale that sends line ends is
// given out at its line end, so that a character too many is seen; another scale's at its last character. The zero
// sevens is ready for a freshly opened port.
type sevens struct {
	frame  [8]byte
	n      int  // bytes of the frame so far
	synced bool // an equals sign has been seen
	ends   bool // a line end stood behind the last frame
	after  bool // that frame was given out and nothing has come since
}

// next is a cutter's.
func (s *sevens) next(chunk []byte) (frame, rest []byte, rejected int) {
	for i, b := range chunk {
		isEnd := b == '\r' || b == '\n'
		whole := s.n == len(s.frame)
		switch {
		case b == '=':
			rejected += s.n
			s.ends = s.ends && !whole
			s.frame[0], s.n, s.synced = b, 1, true
		case whole && isEnd:
			s.n = 0
			return s.frame[:], chunk[i+1:], rejected
		case s.n == 0 && isEnd:
			s.ends = s.ends || s.after
		case s.n == 0 && s.synced:
			rejected++
		case s.n > 0 && (whole || isEnd):
			rejected += s.n + 1
			s.n = 0
		case s.n > 0:
			s.frame[s.n] = b
			s.n++
		}
		s.after = s.n == len(s.frame) && !s.ends
		if s.after {
			s.n = 0
			return s.frame[:], chunk[i+1:], rejected
		}
	}
	return nil, nil, rejected
}
