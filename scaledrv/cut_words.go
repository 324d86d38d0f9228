package scaledrv

// wordsLen is the length of a frame of stx-words from STX to CR; by a setting of the scale a checksum follows.
const wordsLen = 17

// agreeing is how many frames in a row show that the scale sends checksums, or that it does not.
const agreeing = 3

// checksums is whether a scale sends them.
type checksums uint8

const (
	checksumsUnknown checksums = iota
	checksumsAbsent
	checksumsPresent
)

// words cuts the frames of stx-words out of a stream. A frame has its length, its STX and its CR in their places and no
// other control character and no bit 7 between. Where the scale sends checksums, only a frame with the right one is given
// out; a checksum can be any character, also STX or CR. What comes before the first STX is dropped. The zero words is
// ready for a freshly opened port.
type words struct {
	frame   [wordsLen + 1]byte
	n       int // bytes of the frame so far
	synced  bool
	setting checksums
	spoke   checksums // for what the last frame spoke
	votes   int       // of frames in a row that spoke for it
	ended   bool      // a frame was given out without its checksum: the next byte may be it
	due     byte      // the checksum of the last frame
}

// next is a cutter's.
func (w *words) next(chunk []byte) (frame, rest []byte, rejected int) {
	for i, b := range chunk {
		if w.ended {
			w.ended = false
			if w.hear(b) {
				continue
			}
		}
		switch {
		case w.n == wordsLen && b == w.due: // its checksum
			w.vote(checksumsPresent)
			w.frame[wordsLen], w.n = b, 0
			return w.frame[:], chunk[i+1:], rejected
		case w.n == wordsLen && b == stx:
			w.vote(checksumsAbsent)
			rejected += w.begin(b)
		case b == stx:
			rejected += w.begin(b)
		case w.n == 0:
			if w.synced && b != '\r' && b != '\n' {
				rejected++
			}
		case w.n < wordsLen-1 && (b < ' ' || b > 0x7f), w.n == wordsLen-1 && b != '\r', w.n == wordsLen:
			rejected += w.n + 1
			w.n, w.votes = 0, 0
		default:
			w.frame[w.n] = b
			w.n++
		}
		if w.n == wordsLen && b == '\r' {
			w.due = -sum(w.frame[:wordsLen]) & 0x7f
			if w.setting != checksumsPresent {
				w.n, w.ended = 0, true
				return w.frame[:wordsLen], chunk[i+1:], rejected
			}
		}
	}
	return nil, nil, rejected
}

// begin starts a frame and gives the bytes of the one that was not finished.
func (w *words) begin(b byte) (rejected int) {
	rejected = w.n
	w.frame[0], w.n, w.synced = b, 1, true
	return rejected
}

// hear takes the byte behind a frame that was given out and says whether it was its checksum. An STX that is also the
// checksum speaks for neither.
func (w *words) hear(b byte) bool {
	switch {
	case b == w.due && b != stx:
		w.vote(checksumsPresent)
		return true
	case b == stx && w.due != stx:
		w.vote(checksumsAbsent)
	case b != stx:
		w.votes = 0
	}
	return false
}

func (w *words) vote(c checksums) {
	if c != w.spoke {
		w.spoke, w.votes = c, 0
	}
	if w.votes++; w.votes >= agreeing {
		w.votes, w.setting = agreeing, c
	}
}

func sum(frame []byte) (s byte) {
	for _, b := range frame {
		s += b
	}
	return s
}
