package simulator

import (
	"bytes"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func testDamage(t require.TestingT, opt DamageOptions) *Damage {
	d, err := NewDamage(opt)
	require.NoError(t, err)
	return d
}

// fiveLines are 100 bytes.
var fiveLines = strings.Repeat("ST,GS,+000152.3  g\r\n", 5)

func TestEachDamageIsWhatItSays(t *testing.T) {
	for _, tt := range []struct {
		name  string
		opt   DamageOptions
		sent  string
		got   string
		count DamageCount
	}{
		{"all dropped", DamageOptions{Drop: 1}, "abc\r\n", "", DamageCount{Sent: 5, Dropped: 5}},
		{"all twice", DamageOptions{Duplicate: 1}, "ab\n", "aabb\n\n", DamageCount{Sent: 3, Duplicated: 3}},
		{"every line cut at its first byte", DamageOptions{Cut: 1}, "abc\r\nde\r\n", "", DamageCount{Sent: 9, Cut: 9}},
		{"every end lost", DamageOptions{Merge: 1}, "abc\r\nde\r\n", "abcde", DamageCount{Sent: 9, Merged: 4}},
		{"an end of one byte lost", DamageOptions{Merge: 1}, "abc\rde\r", "abcde", DamageCount{Sent: 7, Merged: 2}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := testDamage(t, tt.opt)
			require.Equal(t, tt.got, string(d.Pass(0, []byte(tt.sent), nil)))
			require.Equal(t, tt.count, d.Count())
		})
	}
}

func TestAFlipTurnsOneBitAndEachAsOften(t *testing.T) {
	d := testDamage(t, DamageOptions{Flip: 1})
	got := d.Pass(0, make([]byte, 1000), nil)
	for bit := range 8 {
		require.InDelta(t, 125, bytes.Count(got, []byte{1 << bit}), 5*math.Sqrt(125*7.0/8), "bit %d", bit) // as in TestRatesAreKept
	}
	require.Equal(t, 1000, d.Count().Flipped)
}

func TestABurstIsOneToSixteenNULOrFFBeforeAByte(t *testing.T) {
	d := testDamage(t, DamageOptions{Burst: 1})
	got := string(d.Pass(0, bytes.Repeat([]byte("x"), 1000), nil))
	seen := map[string]int{}
	for burst := range strings.SplitSeq(strings.TrimSuffix(got, "x"), "x") {
		seen[burst]++
	}
	var want []string
	for n := 1; n <= 16; n++ {
		want = append(want, strings.Repeat("\x00", n), strings.Repeat("\xff", n))
	}
	require.ElementsMatch(t, want, slices.Collect(maps.Keys(seen)))
	require.Equal(t, len(got)-1000, d.Count().Inserted)
}

func TestADelayHoldsUpAllThatComesBehindInOrder(t *testing.T) {
	d := testDamage(t, DamageOptions{Seed: 1, Delay: 1, DelayFor: 50 * time.Millisecond})
	require.Empty(t, d.Pass(10*time.Millisecond, []byte("ab"), nil))
	require.Empty(t, d.Pass(59*time.Millisecond, nil, nil))
	require.Equal(t, "ab", string(d.Pass(60*time.Millisecond, nil, nil)))
	require.Equal(t, DamageCount{Sent: 2, Delayed: 2}, d.Count())
	require.Zero(t, d.Count().Damaged(), "late is not wrong")
}

func drawDamage(t *rapid.T) DamageOptions {
	rate := func(of string) float64 { return rapid.Float64Range(0, 0.14).Draw(t, of) }
	return DamageOptions{Seed: rapid.Uint64().Draw(t, "seed"), Flip: rate("flip"), Drop: rate("drop"), Duplicate: rate("duplicate"),
		Cut: rate("cut"), Burst: rate("burst"), Delay: rate("delay"), Merge: rate("merge")}
}

func TestWithoutRatesEveryByteIsAsItWas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := testDamage(t, DamageOptions{Seed: rapid.Uint64().Draw(t, "seed")})
		sent := rapid.SliceOf(rapid.Byte()).Draw(t, "sent")
		require.Equal(t, string(sent), string(d.Pass(0, sent, nil)))
		require.Equal(t, DamageCount{Sent: len(sent)}, d.Count())
	})
}

func TestTheCountIsOfEveryByteThatCameOtherwise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		opt := drawDamage(t)
		sent := []byte(strings.Repeat(fiveLines, 4))
		d := testDamage(t, opt)
		got := d.Pass(0, sent, nil)
		got = d.Pass(math.MaxInt64, nil, got)
		c := d.Count()
		require.Equal(t, len(sent)+c.Duplicated+c.Inserted-c.Dropped-c.Cut-c.Merged, len(got))
		if c.Damaged() == 0 {
			require.Equal(t, string(sent), string(got))
		}
		// In other chunks it is the same.
		pieces := testDamage(t, opt)
		var in []byte
		for rest := sent; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "chunk")
			in, rest = pieces.Pass(0, rest[:n], in), rest[n:]
		}
		in = pieces.Pass(math.MaxInt64, nil, in)
		require.Equal(t, string(got), string(in))
		require.Equal(t, c, pieces.Count())
	})
}

// A count of n events of probability p has the standard deviation √(np(1−p)) (binomial distribution); five of them are allowed.
func TestRatesAreKept(t *testing.T) {
	d := testDamage(t, DamageOptions{Seed: 5, Flip: 0.01, Drop: 0.02, Duplicate: 0.03, Merge: 0.1})
	for range 2000 {
		d.Pass(0, []byte(fiveLines), nil)
	}
	c := d.Count()
	near := func(n, p float64, got int) {
		t.Helper()
		require.InDelta(t, n*p, float64(got), 5*math.Sqrt(n*p*(1-p)))
	}
	seen := float64(c.Sent - c.Merged)
	near(seen, 0.01, c.Flipped)
	near(seen, 0.02, c.Dropped)
	near(seen, 0.03, c.Duplicated)
	near(10_000, 0.1, c.Merged/2)
	require.Equal(t, c.Flipped+c.Dropped+c.Duplicated+c.Merged, c.Damaged())
}

func TestABenchDamagesWhatItSends(t *testing.T) {
	whole, damaged := newBench(t, Options{Seed: 4}), newBench(t, Options{Seed: 4, Damage: DamageOptions{Seed: 9, Flip: 0.01, Delay: 0.001}})
	sent := bytes.Clone(whole.Advance(time.Minute))
	got := bytes.Clone(damaged.Advance(time.Minute))
	require.Zero(t, whole.Damaged().Damaged())
	require.Equal(t, len(sent), damaged.Damaged().Sent)
	require.NotZero(t, damaged.Damaged().Delayed)
	differ := 0
	for i := range got {
		if got[i] != sent[i] {
			differ++
		}
	}
	require.NotZero(t, differ)
	require.Equal(t, damaged.Damaged().Flipped, differ)
}

func FuzzDamage(f *testing.F) {
	f.Add([]byte(fiveLines), uint64(1))
	f.Fuzz(func(t *testing.T, sent []byte, seed uint64) {
		d := testDamage(t, DamageOptions{Seed: seed, Flip: 0.1, Drop: 0.1, Duplicate: 0.1, Cut: 0.1, Burst: 0.1, Delay: 0.1, Merge: 0.1})
		got := d.Pass(math.MaxInt64, nil, d.Pass(0, sent, nil))
		c := d.Count()
		require.Equal(t, len(sent)+c.Duplicated+c.Inserted-c.Dropped-c.Cut-c.Merged, len(got))
	})
}
