package station

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv"
)

func TestTheRateIsOfTheReadingsOfLate(t *testing.T) {
	now := time.Unix(1e9, 0)
	const read, held, rejected = scaledrv.LineRead, scaledrv.LineHeld, scaledrv.LineRejected
	every := func(step time.Duration, outcomes ...scaledrv.Outcome) (lines []scaledrv.Line) {
		for i, o := range outcomes {
			lines = append(lines, scaledrv.Line{At: now.Add(-step * time.Duration(len(outcomes)-1-i)), Outcome: o})
		}
		return lines
	}
	for _, tt := range []struct {
		name  string
		lines []scaledrv.Line
		want  float64
	}{
		{"nothing has come", nil, 0},
		{"one reading has no rate", every(time.Second, read), 0},
		{"ten a second", every(100*time.Millisecond, read, read, read, read), 10},
		{"once a second", every(time.Second, read, read, read), 1},
		{"a line that is no reading counts as none", every(time.Second, read, rejected, read, held), 0.5},
		{"what is older than ten seconds counts no more", append(every(20*time.Second, read, read)[:1], every(100*time.Millisecond, read, read)...), 10},
		{"two lines of one chunk have no time between them", every(0, read, read), 0},
	} {
		t.Run(tt.name, func(t *testing.T) { require.InDelta(t, tt.want, rate(tt.lines, now), 1e-9) })
	}
}
