package scaledrv

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/require"
)

var damageLines = flag.Int("damage-lines", 3000, "lines of each shape that the damage run sends")

// TestDamageRun sends what scales send over a line that damages every fifth frame, prints what became of it, and holds it
// against two bounds. Readings of a wrong weight stay below what the shape's redundancy lets pass. And no wrong weight is
// ever accepted as a part's mass, which takes, in this model, three readings in a row that agree over half a second: here
// a scale sends four times a second and rests for three frames or more, and motion flags are not looked at.
//
// What remains: the same damage to three frames in a row, which a line's own noise does not make.
func TestDamageRun(t *testing.T) {
	table := new(bytes.Buffer)
	w := tabwriter.NewWriter(table, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "shape\tframes\tdamaged\tbytes\treadings\twrong\tbound\tflag wrong\tmissed\trejected bytes\taccepted\taccepted wrong\t")
	for i, v := range variants {
		r := newDamageRun(v, uint64(i))
		r.send(*damageLines)
		fmt.Fprintf(w, "%v\t%d\t%d\t%d\t%d\t%d\t%.1f\t%d\t%d\t%d\t%d\t%d\t\n", v, *damageLines, r.flipped+r.joined+r.torn, r.bytes, r.readings, r.wrong,
			r.bound(), r.flags, r.missed, r.intake.rejected, r.accepted, r.acceptedWrong)
		require.LessOrEqual(t, float64(r.wrong), r.bound()+4*math.Sqrt(r.bound()), "%v: wrong readings", v)
		require.Zero(t, r.acceptedWrong, "%v: a wrong weight was accepted", v)
		require.Greater(t, r.accepted, *damageLines/40, "%v: weights accepted", v)
		require.Less(t, r.missed, *damageLines/4, "%v: whole frames without a reading", v)
	}
	require.NoError(t, w.Flush())
	t.Logf("one seed for each shape\n%s", table)
}

// damageRun sends the frames of one variant and counts what comes of it.
type damageRun struct {
	variant
	random *rand.Rand
	intake *intake
	length int // bytes of a frame

	flipped, joined, torn, bytes   int // frames with bits flipped, run together with the next, damaged otherwise; bytes of all
	readings, wrong, flags, missed int
	accepted, acceptedWrong        int

	before   string // the weight of the frame before
	agree    string // the weight of the last readings
	since    int    // the frame of the first of them
	agreeing int
}

func newDamageRun(v variant, seed uint64) *damageRun {
	r := &damageRun{variant: v, random: rand.New(rand.NewPCG(seed, 7)), intake: newIntake(v.made(), nil)}
	first := sample{digits: 12345, decimals: 2, unit: "g"}
	r.length = len(v.write(first))
	r.intake.next([]byte("\r\n"), time.Time{})
	drain(r.intake, v.warmUp(first))
	r.intake.rejected = 0
	return r
}

// bound is how many readings may be wrong. Of frames with bits flipped the variant says it. With the checksum it is the
// same share of all damage. Otherwise, of lines of one length those pass that run together and lose exactly one line's
// length by chance, and those after which the next frame is damaged to the same length; other lines have nothing to be
// known by.
func (r *damageRun) bound() float64 {
	flipped, torn, joined := float64(r.flipped), float64(r.torn), float64(r.joined)
	switch {
	case r.checksum:
		return (flipped + torn + joined) * r.passes
	case r.padded:
		length := float64(r.length)
		return flipped*r.passes + joined/length + torn/(5*length)
	}
	return flipped*r.passes + joined + torn
}

// send sends frames: rests of three frames or more and, between them, motion through other weights.
func (r *damageRun) send(frames int) {
	s := sample{decimals: 2, unit: "g"}
	left, lost := 0, 0 // frames of this rest or motion, bytes of the next frame that are lost with the end of this one
	for i := range frames {
		if left == 0 {
			s.moving = !s.moving
			left = 3 + r.random.IntN(10)
			s.digits = int64(10_000 + r.random.IntN(90_000))
		}
		left--
		if s.moving {
			s.digits = int64(10_000 + r.random.IntN(90_000))
		}
		frame := []byte(r.write(s))
		sent := frame[min(lost, len(frame)):]
		damaged := lost > 0
		lost = 0
		if r.random.IntN(5) == 0 {
			sent, lost = r.damage(sent)
			damaged = true
		} else if damaged {
			r.torn++
		}
		r.take(i, r.says(s), drain(r.intake, string(sent)), damaged)
	}
}

// damage gives what comes of a frame, and how many bytes of the next are lost too.
func (r *damageRun) damage(frame []byte) (out []byte, lost int) {
	if len(frame) < 2 {
		r.torn++
		r.bytes += len(frame)
		return nil, 0
	}
	at := r.random.IntN(len(frame))
	size := 1 + r.random.IntN(len(frame)-at)
	kind := r.random.IntN(6)
	if kind == 0 {
		out = bytes.Clone(frame)
		for range 1 + r.random.IntN(4) {
			out[r.random.IntN(len(out))] ^= 1 << r.random.IntN(8)
			r.bytes++
		}
		r.flipped++
		return out, 0
	}
	r.bytes += size
	if kind == 2 { // run together with the next
		lost = r.random.IntN(len(frame))
		r.bytes += len(frame) - at - size + lost
		r.joined++
		return frame[:at], lost
	}
	r.torn++
	switch kind {
	case 1: // lost
		return append(bytes.Clone(frame[:at]), frame[at+size:]...), 0
	case 3: // a piece twice
		return append(bytes.Clone(frame[:at+size]), frame[at:]...), 0
	case 4: // NULs between
		return append(append(bytes.Clone(frame[:at]), bytes.Repeat([]byte{0}, size)...), frame[at:]...), 0
	}
	// 0xFF in the place of a piece
	return append(append(bytes.Clone(frame[:at]), bytes.Repeat([]byte{0xff}, 3*size)...), frame[at+size:]...), 0
}

// take counts what came out when a frame was sent.
func (r *damageRun) take(i int, says string, got []string, damaged bool) {
	came := false
	for _, g := range got {
		r.readings++
		right := weight(g) == weight(says) || weight(g) == r.before
		switch {
		case !right:
			r.wrong++
		case weight(g) == weight(says) && g != says:
			r.flags++
		}
		came = came || g == says
		if r.agreeing++; weight(g) != r.agree {
			r.agree, r.since, r.agreeing = weight(g), i, 1
		}
		if r.agreeing >= 3 && i-r.since >= 2 { // over half a second
			r.accepted++
			if !right {
				r.acceptedWrong++
			}
			r.agreeing = math.MinInt // once, until the weight changes
		}
	}
	if !came && !damaged {
		r.missed++
	}
	r.before = weight(says)
}

// weight is the weight of a reading in words, without its flags.
func weight(words string) string {
	number, rest, _ := strings.Cut(words, " ")
	unit, _, _ := strings.Cut(rest, " ")
	return number + " " + unit
}
