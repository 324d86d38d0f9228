package simulator

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

// lines are the whole lines of what was sent.
func lines(sent []byte) (whole []string) {
	for line := range strings.SplitAfterSeq(string(sent), "\n") {
		if strings.HasSuffix(line, "\n") {
			whole = append(whole, line)
		}
	}
	return whole
}

func lastLine(t *testing.T, b *Bench, after time.Duration) string {
	t.Helper()
	all := lines(b.Advance(after))
	require.NotEmpty(t, all)
	return all[len(all)-1]
}

func TestAScaleThatAnswersOnlySendsOneLineForEachRequest(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{Shape: "letter-status", OnRequest: []byte("SI\r\n")})})
	require.Empty(t, b.Advance(time.Minute), "unasked it is silent")
	b.Receive([]byte("SI\r\n"))
	require.Equal(t, "S S        0.0 g\r\n", string(b.Advance(time.Second)))
	require.Empty(t, b.Advance(time.Minute))
	b.Receive([]byte("S"))
	b.Receive([]byte("I\r"))
	require.Empty(t, b.Advance(time.Second))
	b.Receive([]byte("\nSI\r\nTX\r\nSI\r\n"))
	require.Equal(t, strings.Repeat("S S        0.0 g\r\n", 3), string(b.Advance(time.Second)))
	b.Fault(true)
	b.Advance(time.Second)
	b.Receive([]byte("SI\r\n"))
	require.Equal(t, "S I\r\n", string(b.Advance(time.Second)))
}

// Seventeen bytes at 9600 baud take 17.7 ms, a Step is 5 ms.
func TestAnAnswerComesAtOnceAndIsTheDisplayedValue(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{Shape: "letter-status", OnRequest: []byte{0x05}, RateHz: 2})})
	b.Advance(3 * time.Second)
	b.Receive([]byte{0x05})
	require.Equal(t, "S S        0.0 g\r\n", string(b.Advance(25*time.Millisecond)))
}

func TestARequestThatFindsTheScaleOffIsLost(t *testing.T) {
	b := newBench(t, Options{Scale: ScaleOptions{OnRequest: []byte("Q")}})
	b.Advance(time.Second)
	b.Receive([]byte("QQQ"))
	b.Power(false)
	b.Receive([]byte("Q"))
	require.Empty(t, b.Advance(time.Second))
	b.Power(true)
	require.Empty(t, b.Advance(time.Second))
	b.Receive([]byte("Q"))
	require.Len(t, lines(b.Advance(time.Second)), 1)
}

func TestTareAndZeroCommandsPressTheKeys(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{TareCommand: []byte("T\r\n"), ZeroCommand: []byte("Z\r\n")})})
	b.Receive([]byte("T\r\n")) // it is not stable yet
	require.Contains(t, lastLine(t, b, 2*time.Second), "ST,GS,+000000.0")
	require.NoError(t, b.Do("cup", 0))
	require.Regexp(t, `^ST,GS,\+0000(19|20|21)\.\d`, lastLine(t, b, 5*time.Second))
	b.Receive([]byte("T\r\n"))
	require.Contains(t, lastLine(t, b, time.Second), "ST,NT,+000000.0")
	b.Receive([]byte("Z\r\n"))
	require.Contains(t, lastLine(t, b, time.Second), "ST,GS,+000000.0")
	b.Receive([]byte("X\r\nTZ"))
	require.Contains(t, lastLine(t, b, time.Second), "ST,GS,+000000.0")
}

func TestAnAnswerIsNeverOfTheUnitBefore(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{OnRequest: []byte("Q"), RateHz: 1}), Cup: 100 * reading.Gram})
	require.NoError(t, b.Do("cup", 0))
	b.Advance(10500 * time.Millisecond)
	require.NoError(t, b.Unit("oz"))
	b.Receive([]byte("Q"))
	require.Regexp(t, `^ST,GS,\+0003\.\d\d[05] oz\r\n$`, string(b.Advance(2*time.Second)))
}

func TestNoByteBelongsToTwoCommands(t *testing.T) {
	in := newInbox(ScaleOptions{OnRequest: []byte("QQ")})
	require.Equal(t, []order{nothing, request, nothing, request}, []order{in.take('Q'), in.take('Q'), in.take('Q'), in.take('Q')})
}

func TestTheLongerOfTwoCommandsWins(t *testing.T) {
	in := newInbox(ScaleOptions{OnRequest: []byte("T"), TareCommand: []byte("ST")})
	require.Equal(t, []order{request, nothing, tare, request}, []order{in.take('T'), in.take('S'), in.take('T'), in.take('T')})
}

func FuzzReceive(f *testing.F) {
	f.Add([]byte("SI\r\nSI\r\nS\x00I\r\n"))
	f.Add([]byte("SSI\r\n\r\nSI\r"))
	b := newBench(f, Options{Scale: ScaleOptions{Shape: "letter-status", OnRequest: []byte("SI\r\n"), RateHz: 200, Baud: 115200}})
	b.Advance(time.Second)
	f.Fuzz(func(t *testing.T, sent []byte) {
		b.Receive(sent)
		b.Receive([]byte("\n")) // nothing is left over for the next
		answers := lines(b.Advance(time.Duration(len(sent)+10) * 2 * time.Millisecond))
		require.Len(t, answers, bytes.Count(append(sent, '\n'), []byte("SI\r\n")))
	})
}

func TestTheUnitKeyChangesTheDisplayAndNotTheLoad(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{})})
	require.NoError(t, b.Do("cup", 0))
	b.Advance(5 * time.Second)
	require.NoError(t, b.Do("tip", 0.2))
	b.Advance(20 * time.Second)
	require.NoError(t, b.Do("rest", 0))
	b.Advance(20 * time.Second)
	truth := float64(b.cup.mass())
	for _, tt := range []struct{ unit, line string }{
		{"g", `^ST,GS,\+(\d{6}\.\d)  g\r\n$`}, {"oz", `^ST,GS,\+(\d{4}\.\d\d[05]) oz\r\n$`}, {"kg", `^ST,GS,\+(\d{3}\.\d{4}) kg\r\n$`},
		{"mg", `^ST,GS,\+(\d{6}00) mg\r\n$`}, {"lb", `^ST,GS,\+(\d{3}\.\d{3}[05]) lb\r\n$`}, {"lb:oz", `^ST,GS,\+(\d\d:\d\d\.\d\d)lb:oz\r\n$`},
	} {
		require.NoError(t, b.Unit(tt.unit))
		line := string(b.Advance(110 * time.Millisecond))
		line = line[strings.Index(line, "\n")+1:] + string(b.Advance(100*time.Millisecond))
		line = lines([]byte(line))[0]
		require.Regexp(t, tt.line, line, "at once, and still stable")
		one, _ := reading.Value{Digits: 1, Unit: b.scale.face.unit}.Mass()
		shown, _ := valueIn(t, "status-comma", strings.TrimSuffix(line[7:], "lb:oz\r\n")).Float64()
		require.InDelta(t, truth, shown*float64(one), b.scale.face.division/2+1)
	}
	before := lastLine(t, b, time.Second)
	require.ErrorContains(t, b.Unit("st"), `press the unit key: unknown unit of mass "st"`)
	require.Equal(t, before, lastLine(t, b, time.Second))
	b.Power(false)
	require.ErrorContains(t, b.Unit("g"), "the scale is off")
}

func TestAUnitThatTheShapeCannotSayIsRefused(t *testing.T) {
	b := newBench(t, Options{Scale: ScaleOptions{Shape: "stx-words"}})
	require.ErrorContains(t, b.Unit("ct"), "no word for this unit")
	require.NoError(t, b.Unit("kg"))
	b.Advance(2 * time.Second)
	require.Equal(t, "\x02\x2d\x30\x20000000000000\r", string(b.Advance(100 * time.Millisecond)[:17]), "by 0.001 kg: 0.0001 has no word")
	require.ErrorContains(t, newBench(t, Options{Scale: ScaleOptions{Shape: "reversed"}}).Unit("mg"), "6 places")
}

// The noise is the scale's own and not the unit's: in ounces of 0.005, 1.42 times as coarse a step, it is as many grams.
func TestNoiseIsTheSameMassInEveryUnit(t *testing.T) {
	spread := func(unit string) float64 {
		s := testScale(t, ScaleOptions{NoiseSD: 20})
		face, _, err := newFace(unit, s.opt.Division)
		require.NoError(t, err)
		s.show(face)
		var sum float64
		for range 20_000 {
			d := float64(s.sample().divisions) * face.division
			sum += d * d
		}
		return sum
	}
	require.InEpsilon(t, spread("g"), spread("oz"), 0.01)
}

func TestAHungConverterSendsTheLastValueAsMoving(t *testing.T) {
	b := newBench(t, Options{})
	require.NoError(t, b.Do("cup", 0))
	before := lastLine(t, b, 5*time.Second)
	b.Freeze(true)
	require.NoError(t, b.Do("tip", 0.5))
	sent := lines(b.Advance(time.Minute))
	require.InDelta(t, 600, len(sent), 1)
	frozen := sent[1:] // the first was being sent
	require.Equal(t, slices.Repeat([]string{"US" + frozen[0][2:]}, len(frozen)), frozen)
	require.Equal(t, before[2:6], frozen[0][2:6])
	b.Freeze(false)
	require.NotEqual(t, frozen[0], lastLine(t, b, time.Second))
}

func TestAFaultIsSaidOrTheScaleIsSilent(t *testing.T) {
	for shape, says := range map[string]string{"unit-when-stable": "        Err 05      \r\n", "letter-status": "S I\r\n", "status-comma": ""} {
		b := newBench(t, Options{Scale: ScaleOptions{Shape: shape}})
		b.Advance(time.Second)
		b.Fault(true)
		b.Advance(100 * time.Millisecond)
		require.Equal(t, strings.Repeat(says, 10), string(b.Advance(time.Second)), shape)
		b.Fault(false)
		require.NotEmpty(t, b.Advance(time.Second))
	}
}

func TestALoadBelowTheLowestHasNoValue(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{Lowest: -5 * reading.Gram})})
	require.NoError(t, b.Do("cup", 0))
	b.Power(false)
	b.Advance(5 * time.Second)
	b.Power(true)
	require.Contains(t, lastLine(t, b, 2*time.Second), "ST,GS,+000000.0")
	require.NoError(t, b.Do("lift", 0))
	require.Equal(t, "UL,GS,-999999.9  g\r\n", lastLine(t, b, 3*time.Second))
}

func TestAutoOffComesAfterItsTimeWithoutAChangeOrAKey(t *testing.T) {
	b := newBench(t, Options{Scale: ScaleOptions{AutoOff: 10 * time.Second}})
	sent := lines(b.Advance(time.Minute))
	require.Len(t, sent, 99, "the line that is due then is not sent")
	require.NotContains(t, string(b.Advance(time.Second)), "ST")

	b.Power(true)
	require.NoError(t, b.Do("cup", 0))
	b.Advance(9 * time.Second)
	require.NoError(t, b.Tare())
	b.Advance(9 * time.Second)
	require.NoError(t, b.Unit("kg"))
	require.NotEmpty(t, b.Advance(9*time.Second))
	require.NoError(t, b.Do("tip", 0.05))
	require.NotEmpty(t, b.Advance(30 * time.Second)[2000:], "a pour keeps it on")
	require.NoError(t, b.Do("rest", 0))
	b.Advance(15 * time.Second)
	require.Empty(t, b.Advance(time.Minute))
	require.ErrorIs(t, b.Tare(), errNotStable)

	b.Power(true)
	require.Regexp(t, `^ST,GS,[+-]000\.000[01] kg`, lastLine(t, b, 2*time.Second), "zeroed with the cup on it")
}

func TestWhoListensWithOtherSettingsHearsWhatAUARTWould(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		opt := ScaleOptions{Shape: rapid.SampledFrom(Shapes()).Draw(t, "shape"), RateHz: 5, Frame: rapid.SampledFrom([]string{"8N1", "7E1", "7O1", "8N2"}).Draw(t, "frame")}
		far := drawUART(t, "far end")
		right, err := New(Options{Scale: opt})
		require.NoError(t, err)
		wrong, err := New(Options{Scale: opt})
		require.NoError(t, err)
		require.NoError(t, wrong.HeardBy(far))
		var want, got []byte
		for range 20 { // a line a time, with rest behind it
			want = append(want, Sample(bytes.Clone(right.Advance(200*time.Millisecond)), right.UART(), far)...)
			got = append(got, wrong.Advance(200*time.Millisecond)...)
		}
		want = append(want, Sample(bytes.Clone(right.Advance(199*time.Millisecond)), right.UART(), far)...)
		got = append(got, wrong.Advance(199*time.Millisecond)...)
		require.Equal(t, string(want), string(got))
	})
}

func TestSettingsOfTheFarEndMayChangeOnTheWay(t *testing.T) {
	b := newBench(t, Options{Scale: ScaleOptions{OnRequest: []byte("Q\r\n"), Frame: "7E1"}})
	own := b.UART()
	require.Equal(t, UART{9600, 7, 'E', 1}, own)
	b.Advance(time.Second)
	require.NoError(t, b.HeardBy(UART{9600, 8, 'N', 1}))
	b.Receive([]byte("Q\r\n"))
	require.Empty(t, b.Advance(time.Second), "\\r has three ones, and its bit 7 is no parity of them")
	require.NoError(t, b.HeardBy(own))
	b.Receive([]byte("Q\r\n"))
	require.Len(t, lines(b.Advance(time.Second)), 1)
	require.ErrorContains(t, b.HeardBy(UART{}), "set the far end of the line: baud 0")
}

func TestTheLineTakesTheTimeOfItsFrame(t *testing.T) {
	b := newBench(t, Options{Scale: ScaleOptions{Baud: 1200, Frame: "8N2", RateHz: 1}})
	// Twenty bytes of eleven bits: 183.3 ms, of ten: 166.7 ms.
	require.Len(t, b.Advance(1180*time.Millisecond), 19)
	require.Len(t, b.Advance(5*time.Millisecond), 1)
}

func BenchmarkAdvance(b *testing.B) {
	for _, tt := range []struct {
		name string
		opt  Options
	}{
		{"status-comma", Options{}},
		{"stx-words", Options{Scale: ScaleOptions{Shape: "stx-words", Line: LineOptions{Checksum: true}}}},
		{"damaged", Options{Damage: DamageOptions{Flip: 0.01, Cut: 0.001}}},
	} {
		b.Run(tt.name, func(b *testing.B) {
			bench := newBench(b, tt.opt)
			b.ReportAllocs()
			for b.Loop() {
				bench.Advance(100 * time.Millisecond) // one line
			}
		})
	}
}
