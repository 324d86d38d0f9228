package simulator

import (
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"twocup/scaledrv/reading"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func newBench(t testing.TB, opt Options) *Bench {
	t.Helper()
	b, err := New(opt)
	require.NoError(t, err)
	return b
}

// quiet is a scale without noise.
func quiet(opt ScaleOptions) ScaleOptions {
	opt.NoiseSD = -1
	return opt
}

// linePattern is the shape status-comma, for tests that judge lines by their own means.
var linePattern = regexp.MustCompile(`^(ST|US|OL),(GS|NT),([+-])(\d*\.?\d+)  ?(k?g)\r\n$`)

// shownGrams are the values of whole lines of a scale in grams; a damaged line fails the test.
func shownGrams(t *testing.T, sent []byte) (grams []float64) {
	t.Helper()
	for line := range strings.SplitAfterSeq(string(sent), "\n") {
		if !strings.HasSuffix(line, "\n") {
			continue
		}
		require.Len(t, line, 20)
		m := linePattern.FindStringSubmatch(line)
		require.NotNil(t, m, "%q", line)
		g, err := strconv.ParseFloat(m[3]+m[4], 64)
		require.NoError(t, err)
		grams = append(grams, g)
	}
	return grams
}

func grams(g float64) reading.Mass {
	m, _ := reading.FromGrams(g)
	return m
}
