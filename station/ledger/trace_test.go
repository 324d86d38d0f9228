package ledger

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

const d = reading.Gram / 10

// pourTrace is a pour as a scale of 10 Hz and 0.1 g shows it: rest, 20 g/s, a dribble, rest. Its lines come a few
// milliseconds early or late.
func pourTrace(points int) (list []TracePoint) {
	mass := 50 * reading.Gram
	for i := range points {
		switch at := i * 100 / points; {
		case at > 20 && at < 60:
			mass += 2*reading.Gram + reading.Mass(i%7-3)*d
		case at >= 60 && at < 80:
			mass += reading.Mass(i%3) * d
		}
		list = append(list, TracePoint{At: noon.Truncate(time.Millisecond).Add(time.Duration(i*100+(i*i)%9) * time.Millisecond), Mass: mass, Step: d})
	}
	return list
}

func instants(points []TracePoint) []TracePoint {
	for i := range points {
		points[i].Step = 0
	}
	return points
}

func TestATraceComesBackExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var points []TracePoint
		steps := rapid.SampledFrom([]reading.Mass{0, 1, d, 2 * d, 28_349_523_125, math.MaxInt64})
		masses := rapid.OneOf(rapid.Int64(), rapid.Int64Range(-100, 100), rapid.Map(rapid.Int64Range(-100_000, 100_000), func(n int64) int64 { return n * int64(d) }))
		for range rapid.IntRange(1, 200).Draw(t, "points") {
			points = append(points, TracePoint{At: time.UnixMilli(rapid.Int64Range(-1e15, 1e15).Draw(t, "at")).UTC(),
				Mass: reading.Mass(masses.Draw(t, "mass")), Step: steps.Draw(t, "step")})
		}
		var chunks []chunk
		for len(points) > 0 {
			n := rapid.IntRange(1, len(points)).Draw(t, "a group")
			var last *chunk
			if k := len(chunks) - 1; k >= 0 {
				_, end, err := decode(chunks[k].data)
				require.NoError(t, err)
				last, chunks = &end, chunks[:k]
			}
			before := read(t, chunks, last)
			chunks = append(chunks, encode(last, points[:n])...)
			require.Equal(t, instants(append(before, points[:n]...)), read(t, chunks, nil))
			points = points[n:]
		}
	})
}

func read(t require.TestingT, chunks []chunk, last *chunk) (points []TracePoint) {
	if last != nil {
		chunks = append(chunks[:len(chunks):len(chunks)], *last)
	}
	for _, c := range chunks {
		some, _, err := decode(c.data)
		require.NoError(t, err)
		points = append(points, some...)
	}
	return instants(points)
}

func FuzzDecodeTrace(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{0, 0, 0})
	f.Add(encode(nil, pourTrace(40))[0].data)
	f.Fuzz(func(t *testing.T, data []byte) {
		points, _, err := decode(data)
		if err != nil {
			return
		}
		again := read(t, encode(nil, points), nil)
		require.Equal(t, instants(points), again)
	})
}

func TestDamagedBytesAreNoTrace(t *testing.T) {
	data := encode(nil, pourTrace(2))[0].data
	for n := range len(data) {
		points, _, err := decode(data[:n])
		require.True(t, err != nil || len(points) < 2, "cut after %d bytes", n)
	}
	_, _, err := decode([]byte{0, 2, 2})
	require.Error(t, err, "a step of nothing")
}

func TestAnyBitOfAChunkThatIsChangedIsDamage(t *testing.T) {
	data := encode(nil, pourTrace(40))[0].sealed()
	_, _, err := unseal(data)
	require.NoError(t, err)
	for i := range data {
		for bit := range 8 {
			data[i] ^= 1 << bit
			_, _, err := unseal(data)
			require.ErrorIs(t, err, errDamagedTrace, "bit %d of byte %d", bit, i)
			data[i] ^= 1 << bit
		}
		_, _, err := unseal(data[:i])
		require.ErrorIs(t, err, errDamagedTrace, "cut after %d bytes", i)
	}
}

func TestTraces(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	points, thinned, err := l.Trace(t.Context(), "b1")
	require.NoError(t, err)
	require.Empty(t, points)
	require.False(t, thinned)
	_, _, err = l.Trace(t.Context(), "b2")
	require.ErrorIs(t, err, ErrNotFound)

	want := pourTrace(2000)
	for n := 0; n < len(want); n += 3 { // as the station hands them over, every 250 ms at 10 Hz
		require.NoError(t, l.AppendTrace(t.Context(), "b1", want[n:min(n+3, len(want))]))
		if n == 999 {
			require.NoError(t, l.Close())
			l = open(t, dir)
		}
	}
	require.NoError(t, l.AppendTrace(t.Context(), "b1", nil))
	points, thinned, err = l.Trace(t.Context(), "b1")
	require.NoError(t, err)
	require.Equal(t, instants(want), instants(points))
	require.False(t, thinned)
	var rows, bytes int
	require.NoError(t, l.read.QueryRow("SELECT count(*), sum(length(data)) FROM traces").Scan(&rows, &bytes))
	t.Logf("%d readings: %d bytes in %d rows, %.2f bytes a reading", len(want), bytes, rows, float64(bytes)/float64(len(want)))
	require.Less(t, float64(bytes)/float64(len(want)), 2.5)
	require.LessOrEqual(t, rows, bytes/maxChunk+1)
	report, err := l.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, report.Findings)
}

func TestATraceThatCantBeReadIsAnErrorAndGoesOn(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Append(t.Context(), "b1", started(t, "b1", "harbour-clear", noon)))
	require.NoError(t, l.AppendTrace(t.Context(), "b1", pourTrace(5)))
	_, err := l.write.Exec("UPDATE traces SET data = x'ff'")
	require.NoError(t, err)
	require.NoError(t, l.AppendTrace(t.Context(), "b1", pourTrace(5)))
	_, _, err = l.Trace(t.Context(), "b1")
	require.ErrorContains(t, err, "batch b1: chunk 1: its bytes are not whole")
}

func TestThinningKeepsThePeaksAndTheEnds(t *testing.T) {
	points := pourTrace(1000)
	points[333].Mass += reading.Kilogram
	points[777].Mass -= reading.Kilogram
	kept := thin(points)
	require.Less(t, len(kept), len(points)/7)
	for _, i := range []int{0, 333, 777, 999} {
		require.Contains(t, kept, points[i])
	}
	for i := 1; i < len(kept); i++ {
		require.True(t, kept[i].At.After(kept[i-1].At))
	}
	require.Empty(t, thin(nil))
}

func TestTheOldestTracesAreThinnedThenDropped(t *testing.T) {
	l := open(t, t.TempDir())
	ids := []string{"b0", "b1", "b2", "b3", "b4", "b5", "b6", "b7", "b8", "b9"}
	for _, id := range ids {
		require.NoError(t, l.Append(t.Context(), id, started(t, id, "harbour-clear", noon)))
		require.NoError(t, l.AppendTrace(t.Context(), id, pourTrace(1000)))
	}
	size := func() (bytes int64) {
		require.NoError(t, l.read.QueryRow("SELECT sum(length(data)) FROM traces").Scan(&bytes))
		return bytes
	}
	one := size() / 10
	before, err := l.Head(t.Context())
	require.NoError(t, err)
	stand := func() (text string) {
		for _, id := range ids {
			points, thinned, err := l.Trace(t.Context(), id)
			require.NoError(t, err)
			switch {
			case len(points) == 0:
				text += "-"
			case thinned:
				text += "t"
			default:
				text += "w"
			}
		}
		return text
	}
	var goesOn []TracePoint
	for _, tt := range []struct {
		name string
		max  int64
		want string
	}{
		{"while there is room nothing is done", size(), "wwwwwwwwww"},
		{"half of the room is for the newest, whole", size() - 1, "ttttttwwww"},
		{"once more changes nothing that fits", size() - 1, "ttttttwwww"},
		{"the oldest are dropped", 2 * one, "-----ttttw"},
		{"the newest is never touched", 1, "---------w"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.NoError(t, l.ThinTraces(t.Context(), tt.max))
			require.Equal(t, tt.want, stand())
			if tt.max > one {
				require.LessOrEqual(t, size(), tt.max)
			}
			if tt.want == "ttttttwwww" && goesOn == nil {
				before, _, err := l.Trace(t.Context(), "b3")
				require.NoError(t, err)
				goesOn = append(before, pourTrace(10)...)
				require.NoError(t, l.AppendTrace(t.Context(), "b3", goesOn[len(before):]))
				after, thinned, err := l.Trace(t.Context(), "b3")
				require.NoError(t, err)
				require.True(t, thinned)
				require.Equal(t, instants(goesOn), instants(after), "a thinned trace goes on")
			}
		})
	}
	report, err := l.Verify(t.Context(), before)
	require.NoError(t, err)
	require.Empty(t, report.Findings, "events are never thinned")
	require.EqualValues(t, 10, report.Events)

	require.NoError(t, l.AppendTrace(t.Context(), "b0", pourTrace(10)), "a batch whose trace was dropped goes on")
}
