package scaledrv

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"
)

// A recording is text: lines that begin with # are for people, and the first of them is its head; in the others stand
// pairs of a time, in seconds since the beginning with three digits after the mark, and a chunk of bytes, quoted as in
// Go:
//
//	# shape: status-comma   link: "/dev/ttyUSB0"   from: recorded 2026-11-25T22:41:00Z
//	0.104 "US,GS,+00012.3  g\r\n"    0.200 "US,GS,+0"
//	# 1.200 sent "SI\r\n"
//
// What follows a # behind a pair is for people too. Times do not go back. Where the shape was given a pattern or a unit,
// the head has them behind its name, in this order and as they stand in a scale's entry, with each ' in a pattern doubled:
//
//	# shape: pattern   pattern: '(?P<value>[0-9.]+);'   unit: g   link: "/dev/ttyUSB0"   from: recorded 2026-11-25T22:41:00Z

// recorded is what one Read gave.
type recorded struct {
	at    time.Duration // since the beginning, in whole milliseconds
	bytes []byte        // never empty
}

const (
	maxRecordingLine = 64 << 10            // bytes
	maxChunk         = 4 << 10             // bytes of a chunk that we write; quoted, each takes at most four
	maxRecordingTime = 100_000 * time.Hour // so that a replay's slowest speed can be counted in a Duration
)

// recordingError says in which line a recording can't be read.
type recordingError struct {
	Line int // from 1
	Err  error
}

func (e *recordingError) Error() string { return fmt.Sprintf("line %d: %v", e.Line, e.Err) }

func (e *recordingError) Unwrap() error { return e.Err }

// readRecording gives all chunks of a recording, in their order. The error of a fault is a *recordingError.
func readRecording(from io.Reader) (chunks []recorded, err error) {
	r := newRecordingReader(from)
	for {
		c, err := r.next()
		if err == io.EOF {
			return chunks, nil
		}
		if err != nil {
			return nil, err
		}
		chunks = append(chunks, c)
	}
}

// recordingReader reads one chunk after the other; it never holds more than a line.
type recordingReader struct {
	from *bufio.Reader
	rest []byte // of the line, not read yet
	line int
	last time.Duration
}

func newRecordingReader(from io.Reader) *recordingReader {
	return &recordingReader{from: bufio.NewReaderSize(from, maxRecordingLine)}
}

// next gives the next chunk, and io.EOF after the last. Its bytes stay as they are.
func (r *recordingReader) next() (recorded, error) {
	for len(r.rest) == 0 || r.rest[0] == '#' {
		line, err := r.from.ReadSlice('\n')
		r.line++
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			return recorded{}, r.fault("longer than %d bytes", maxRecordingLine)
		case err == io.EOF && len(line) > 0: // the last line, without its end
		case err != nil:
			return recorded{}, err
		}
		r.rest = bytes.Trim(line, blanks)
	}
	return r.pair()
}

const blanks = " \t\r\n"

// pair takes a time and its chunk off the rest of the line.
func (r *recordingReader) pair() (recorded, error) {
	at, rest, _ := bytes.Cut(r.rest, []byte(" "))
	seconds, err := parseSeconds(string(at))
	switch {
	case err != nil:
		return recorded{}, r.fault("time %.20q: %w", at, err)
	case seconds < r.last:
		return recorded{}, r.fault("time %s is before the one in front of it", at)
	}
	quoted, err := strconv.QuotedPrefix(string(bytes.TrimLeft(rest, blanks)))
	if err != nil || quoted[0] != '"' {
		return recorded{}, r.fault(`after the time %s stands no chunk between " and "`, at)
	}
	text, err := strconv.Unquote(quoted)
	if err != nil || text == "" {
		return recorded{}, r.fault("the chunk at %s is empty", at)
	}
	rest = bytes.TrimLeft(rest, blanks)[len(quoted):]
	after := bytes.TrimLeft(rest, blanks)
	if len(after) > 0 && len(after) == len(rest) {
		return recorded{}, r.fault("no space behind the chunk at %s", at)
	}
	r.last, r.rest = seconds, after
	return recorded{seconds, []byte(text)}, nil
}

func (r *recordingReader) fault(format string, args ...any) error {
	return &recordingError{Line: r.line, Err: fmt.Errorf(format, args...)}
}

// parseSeconds reads a time such as 12.345.
func parseSeconds(text string) (time.Duration, error) {
	mark := len(text) - 4
	if mark < 1 || mark > 9 || text[mark] != '.' {
		return 0, errors.New("no seconds with three digits after the mark, such as 0.100")
	}
	ms, err := strconv.ParseUint(text[:mark]+text[mark+1:], 10, 63)
	if err != nil {
		return 0, errors.New("no seconds with three digits after the mark, such as 0.100")
	}
	if ms > uint64(maxRecordingTime/time.Millisecond) {
		return 0, fmt.Errorf("later than %d hours", maxRecordingTime/time.Hour)
	}
	return time.Duration(ms) * time.Millisecond, nil
}

// formatSeconds is a time as it stands in a recording, cut to whole milliseconds.
func formatSeconds(at time.Duration) string {
	ms := at.Milliseconds()
	return fmt.Sprintf("%d.%03d", ms/1000, ms%1000)
}
