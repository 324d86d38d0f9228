package scaledrv

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/simulator"
)

var allFrames = []string{"8N1", "7E1", "7O1"}

// spoken are lines at equal distances, as a scale with this frame sends them and an 8N1 hears them.
func spoken(frame string, every time.Duration, lines ...string) (came []recorded) {
	came = []recorded{lineBegins(0)}
	for i, l := range lines {
		came = append(came, recorded{time.Duration(i) * every, []byte(speak(l, frame))})
	}
	return came
}

// told is a judgement in words: the candidates, and whether it is sure.
func told(j judgement) string {
	var all []string
	for _, e := range j.live {
		all = append(all, e.shape+" "+e.frame)
	}
	text := strings.Join(all, ", ")
	switch {
	case j.sure:
		return "sure: " + text
	case text == "":
		return "nothing"
	}
	return "unsure: " + text
}

func TestWhatSeveralShapesExplainIsNotSure(t *testing.T) {
	again := func(n int, lines ...string) (all []string) {
		for range n {
			all = append(all, lines...)
		}
		return all
	}
	rising := []string{"+    0.0 g\r\n", "+    0.0 g\r\n", "+    0.0 g\r\n", "+    0.0 g\r\n", "+    0.0 g\r\n", "+    1.0 g\r\n", "+    2.2 g\r\n", "+    3.1 g\r\n", "+    4.5 g\r\n", "+    5.9 g\r\n"}
	for _, tt := range []struct {
		name  string
		frame string
		every time.Duration
		lines []string
		want  string
	}{
		{"a shape of its own is sure after three lines", "8N1", 0, again(3, "ST,GS,+00000.0  g\r\n"), "sure: status-comma 8N1"},
		{"and not after two", "8N1", 0, again(2, "ST,GS,+00000.0  g\r\n"), "nothing"},
		{"parity shows in bit 7", "7O1", 0, again(3, "S S       0.0 g\r\n"), "sure: letter-status 7O1"},
		{"digits alone are bare", "7E1", 0, again(3, "0.0\r\n"), "sure: bare 7E1"},
		{"of even characters only 8N1 and 7E1 are the same on the wire", "8N1", 0, again(9, "0.00\n"), "unsure: bare 8N1, bare 7E1"},
		{"one turned bit does not tell them apart", "8N1", 0, append(again(8, "0.00\n"), "0.20\n"), "unsure: bare 8N1, bare 7E1"},
		{"a single digit over and over may be another speed's", "8N1", 0, again(50, "0\r"), "unsure: bare 8N1"},
		{"an unpadded number is no trailing flag that never comes", "8N1", 0, again(3, "0.0 g\r\n"), "sure: bare 8N1"},
		{"a padded one at rest may be", "8N1", 0, again(9, "      0.0 g\r\n"), "unsure: trailing-flag 8N1, bare 8N1"},
		{"a negative one too", "8N1", 0, again(9, "     -0.1 g\r\n"), "unsure: trailing-flag 8N1, bare 8N1"},
		{"a zero sent twice is no padding", "8N1", 0, []string{"0.0 g\r\n", "00.0 g\r\n", "-0.1 g\r\n", "0.0 g\r\n"}, "sure: bare 8N1"},
		{"until a flag comes", "8N1", 0, append(again(9, "      0.0 g\r\n"), "      1.0 g ?\r\n"), "sure: trailing-flag 8N1"},
		{"a load that comes between two lines shows no motion", "8N1", time.Second, append(again(3, "+    0.0 g\r\n"), again(3, "+  150.0 g\r\n")...), "unsure: trailing-flag 8N1, bare 8N1"},
		{"motion alone leaves a star that would come at rest", "8N1", time.Second, rising[4:], "unsure: trailing-flag 8N1, bare 8N1"},
		{"motion and rest without a flag are bare", "8N1", 500 * time.Millisecond, rising, "sure: bare 8N1"},
		{"fixed columns at rest may be those of a unit that is blank in motion", "8N1", 0, again(5, "+    23.45 g  \r\n"), "unsure: unit-when-stable 8N1, trailing-flag 8N1, bare 8N1"},
		{"as may a number without unit that never rested", "8N1", 0, again(5, "+    23.45    \r\n"), "unsure: unit-when-stable 8N1, bare 8N1"},
		{"at rest the unit would have come", "8N1", time.Second, again(5, "+    23.45    \r\n"), "sure: bare 8N1"},
		{"both together are unit-when-stable", "8N1", 0, append(again(4, "+    23.45 g  \r\n"), "+    23.46    \r\n"), "sure: unit-when-stable 8N1"},
		{"its lines with a blank lost are not taken for another shape's", "8N1", 0, append(again(5, "+    23.45 g  \r\n"), again(2, "+   23.45 g  \r\n")...), "unsure: trailing-flag 8N1, bare 8N1, unit-when-stable 8N1"},
		{"digits the other way round are not reversed", "8N1", 0, []string{"=0012.34\r\n", "=0012.35\r\n", "=0012.37\r\n", "=0012.34\r\n"}, "unsure: reversed 8N1"},
		{"least significant first they are", "8N1", 0, []string{"=43.2100\r\n", "=53.2100\r\n", "=73.2100\r\n"}, "sure: reversed 8N1"},
		{"an N behind a number without unit may be newtons", "8N1", 100 * time.Millisecond, append(again(9, "     0.00 N\r\n"), again(9, "    12.34 N\r\n")...), "unsure: trailing-flag 8N1"},
		{"with a flag of motion it is net", "8N1", 0, append(again(9, "     0.00 N\r\n"), "     3.21 N ?\r\n"), "sure: trailing-flag 8N1"},
		{"over has no weight", "8N1", 0, again(9, "OL,GS,+99999.9  g\r\n"), "unsure: status-comma 8N1"},
		{"text with a weight in it now and then is no scale", "8N1", 0, again(9, "all is well\r\n", "12.3 g\r\n"), "nothing"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, told(judge(spoken(tt.frame, tt.every, tt.lines...), allFrames)))
		})
	}
}

func TestATrailingFlagThatNeverCameIsNotSureAlone(t *testing.T) {
	e := gather(spoken("8N1", 0, "      0.0 g\r\n", "      0.1 g\r\n", "      0.0 g\r\n"), "8N1", "trailing-flag")
	require.Len(t, e.lines, 3)
	sure, advice := decide([]evidence{e})
	require.False(t, sure)
	require.Contains(t, advice, "no flag of motion")
}

// Lines of the shape that NMEA 0183 has, and of a log, as anybody writes them; the bytes are random.
func TestWhatIsNoScaleIsNeverSure(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	rubbish := make([]string, 400)
	for i := range rubbish {
		b := make([]byte, 1+random.IntN(30))
		for k := range b {
			b[k] = byte(random.Uint32())
		}
		rubbish[i] = string(b)
	}
	for _, tt := range []struct {
		name  string
		lines []string
	}{
		{"positions", []string{"$GPGGA,120000,5200.00,N,00400.00,E,1,08,0.9,12.3,M,45.0,M,,*4C\r\n", "$GPGSV,1,1,01,12,30,120,40*40\r\n"}},
		{"a log", []string{"2026-01-02 12:00:00 started\r\n", "12:00:01 temperature 21.5 C\r\n", "done\r\n"}},
		{"temperatures", []string{"21.5 C\r\n", "21.6 C\r\n"}},
		{"a menu", []string{"1) weigh\r\n2) count\r\n> "}},
		{"random bytes", rubbish},
		{"zeros", []string{strings.Repeat("\x00", 300)}},
		{"all ones", []string{strings.Repeat("\xff", 300)}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			for _, frame := range allFrames {
				came := spoken(frame, 100*time.Millisecond, tt.lines...)
				for range 5 {
					came = append(came, spoken(frame, 100*time.Millisecond, tt.lines...)[1:]...)
				}
				require.Equal(t, "nothing", told(judge(came, allFrames)))
			}
		})
	}
}

// At a wrong speed the same line is heard as the same rubbish: it comes over and over and is never sure.
func TestAWrongSpeedIsNeverSure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := simulator.UART{Baud: rapid.SampledFrom(bauds).Draw(t, "from"), DataBits: 8, Parity: 'N', StopBits: 1}
		to := from
		to.Baud = rapid.SampledFrom(bauds).Filter(func(b int) bool { return b != from.Baud }).Draw(t, "to")
		text := rapid.SampledFrom([]string{"ST,GS,+%07d.%d  g", "S S %8d.%d g", "G     +%7d.%d g  ", "+%6d.%d g", "%d.%d", "%d.%d g", "=%d%06d", "\x02+0!%06d%06d"}).Draw(t, "shape")
		line := text + rapid.SampledFrom([]string{"\r\n", "\r", "\n"}).Draw(t, "end")
		line = speak(fmt.Sprintf(line, rapid.IntRange(0, 99999).Draw(t, "whole"), rapid.IntRange(0, 9).Draw(t, "tenths")), rapid.SampledFrom(allFrames).Draw(t, "frame"))
		heard := string(simulator.Sample([]byte(line), from, to))
		came := []recorded{lineBegins(0)}
		for i := range 6 {
			came = append(came, recorded{time.Duration(i) * 100 * time.Millisecond, []byte(heard)})
		}
		require.False(t, judge(came, allFrames).sure, "%q heard as %q", line, heard)
	})
}

func TestTheDivisionIsNotFinerThanTheDigitsShowAndNotCoarserThanWasSeen(t *testing.T) {
	up := func(from, step, n int64) (values []int64) {
		for i := range n {
			values = append(values, from+i*step)
		}
		return values
	}
	for _, tt := range []struct {
		name   string
		values []int64
		step   int64
		sure   bool
	}{
		{"nothing seen", nil, 1, false},
		{"zero alone", up(0, 0, 99), 1, false},
		{"a load that stands", up(150, 0, 99), 1, false},
		{"ones", []int64{0, 1, 2, 3, 6, 7}, 1, true},
		{"a few even values may be chance", up(0, 2, 8), 1, false},
		{"many are twos", up(0, 2, 14), 2, true},
		{"fives", up(5, 5, 14), 5, true},
		{"tens, whose last digit is never other than zero", up(0, 10, 30), 10, true},
		{"one damaged line among many", append(up(0, 5, 40), 3, 200), 5, true},
		{"some damaged lines leave it open", append(up(0, 2, 14), 3, 2, 5), 1, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var s steps
			for _, v := range tt.values {
				s.take(v, 0)
			}
			step, sure := s.division()
			require.Equal(t, tt.step, step)
			require.Equal(t, tt.sure, sure)
		})
	}
}

func FuzzJudge(f *testing.F) {
	f.Add([]byte("ST,GS,+00000.0  g\r\nST,GS,+00000.1  g\r\n"), uint8(3))
	f.Add([]byte("\x02+0!001523000000\r=54.3210\r\n+ 1.0 g ?\r\nOL\r\n"), uint8(30))
	f.Fuzz(func(t *testing.T, bytes []byte, size uint8) {
		var came []recorded
		for i := 0; i < len(bytes); i += int(size) + 1 {
			came = append(came, recorded{time.Duration(i) * time.Millisecond, bytes[i:min(len(bytes), i+int(size)+1)]})
		}
		j := judge(came, allFrames)
		require.False(t, j.sure && len(j.live) != 1)
		for _, e := range j.live {
			c := e.candidate(0)
			require.GreaterOrEqual(t, c.Lines, 0)
			require.NotContains(t, c.Entry("x", "serial:/dev/x"), "\x00")
		}
	})
}
