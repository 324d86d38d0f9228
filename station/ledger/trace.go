package ledger

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"time"

	"twocup/scaledrv/reading"
)

// TracePoint is what a scale showed at an instant.
type TracePoint struct {
	At   time.Time    // kept to the millisecond, cut off
	Mass reading.Mass // exact
	Step reading.Mass // of the display then; it only makes the trace short. Zero: not known
}

const (
	maxChunk = 800 // bytes after which the next chunk begins; a row of this size needs no page of its own
	perThin  = 16  // points of a thinned trace that become two
)

// chunk is a run of points, change-coded. Its bytes are varints as encoding/binary has them (zigzag where signed):
//
//	step, unsigned; mass in picograms and time in milliseconds since 1970 of the first point
//	of each further point: the time since the point before less the time before that; the change of mass in steps
//
// At its end stands the CRC-32 (Castagnoli) of all that, 4 bytes, big-endian, so that damage is an error and no curve.
type chunk struct {
	data           []byte // without the checksum
	step           int64  // picograms, at least 1
	mass, at, pace int64  // of the last point; pace is its time since the one before
}

func newChunk(p TracePoint, step reading.Mass) chunk {
	c := chunk{step: max(1, int64(step)), mass: int64(p.Mass), at: p.At.UnixMilli()}
	c.data = binary.AppendUvarint(c.data, uint64(c.step))
	c.data = binary.AppendVarint(c.data, c.mass)
	c.data = binary.AppendVarint(c.data, c.at)
	return c
}

// fits says whether the point can follow in this chunk.
func (c *chunk) fits(p TracePoint) bool {
	return c.step == 1 || c.step == int64(p.Step) && (int64(p.Mass)-c.mass)%c.step == 0
}

func (c *chunk) add(p TracePoint) {
	pace := p.At.UnixMilli() - c.at
	c.data = binary.AppendVarint(c.data, pace-c.pace)
	c.data = binary.AppendVarint(c.data, (int64(p.Mass)-c.mass)/c.step)
	c.mass, c.at, c.pace = int64(p.Mass), c.at+pace, pace
}

// encode goes on in the last of the chunks, which may be none, and gives it with those that follow. A mass that is no
// whole number of steps from the one before, as rounded units give it, begins a chunk in picograms.
func encode(last *chunk, points []TracePoint) (chunks []chunk) {
	if last != nil {
		chunks = append(chunks, *last)
	}
	for _, p := range points {
		switch n := len(chunks); {
		case n == 0, len(chunks[n-1].data) >= maxChunk, chunks[n-1].step != 1 && chunks[n-1].step != int64(p.Step):
			chunks = append(chunks, newChunk(p, p.Step))
		case !chunks[n-1].fits(p):
			chunks = append(chunks, newChunk(p, 1))
		default:
			chunks[n-1].add(p)
		}
	}
	return chunks
}

var (
	errDamagedTrace = errors.New("its bytes are not whole")
	castagnoli      = crc32.MakeTable(crc32.Castagnoli)
)

// sealed is the chunk as it is stored.
func (c *chunk) sealed() []byte {
	return binary.BigEndian.AppendUint32(c.data[:len(c.data):len(c.data)], crc32.Checksum(c.data, castagnoli))
}

// unseal reads a chunk as it is stored.
func unseal(data []byte) (points []TracePoint, end chunk, err error) {
	n := len(data) - 4
	if n < 0 || crc32.Checksum(data[:n], castagnoli) != binary.BigEndian.Uint32(data[n:]) {
		return nil, chunk{}, errDamagedTrace
	}
	return decode(data[:n])
}

// decode reads a chunk's points and where it ends.
func decode(data []byte) (points []TracePoint, end chunk, err error) {
	rest := data
	next := func() (v int64) {
		v, n := binary.Varint(rest)
		if n <= 0 {
			rest, err = nil, errDamagedTrace
			return 0
		}
		rest = rest[n:]
		return v
	}
	step, n := binary.Uvarint(rest)
	if n <= 0 || int64(step) < 1 {
		return nil, chunk{}, errDamagedTrace
	}
	rest = rest[n:]
	c := chunk{data: data, step: int64(step), mass: next(), at: next()}
	points = append(points, c.point())
	for len(rest) > 0 {
		c.pace += next()
		c.at += c.pace
		c.mass += next() * c.step
		points = append(points, c.point())
	}
	if err != nil {
		return nil, chunk{}, err
	}
	return points, c, nil
}

func (c *chunk) point() TracePoint {
	p := TracePoint{At: time.UnixMilli(c.at).UTC(), Mass: reading.Mass(c.mass)}
	if c.step > 1 {
		p.Step = reading.Mass(c.step)
	}
	return p
}

// thin keeps of each run of points the lowest and the highest, and the ends of the whole, so that a plot of them shows
// every peak.
func thin(points []TracePoint) (kept []TracePoint) {
	for from := 0; from < len(points); from += perThin {
		run := points[from:min(from+perThin, len(points))]
		low, high := 0, 0
		for i := range run {
			if run[i].Mass < run[low].Mass {
				low = i
			}
			if run[i].Mass >= run[high].Mass {
				high = i
			}
		}
		for i := range run {
			if i == low || i == high || from+i == 0 || from+i == len(points)-1 {
				kept = append(kept, run[i])
			}
		}
	}
	return kept
}
