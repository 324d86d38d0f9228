package material

import (
	"fmt"
	"strconv"
	"time"
)

// Duration is a time on a card, as text with its unit: "90s", "20m", "24h". Zero is not stated.
type Duration time.Duration

// MarshalText gives the largest of h, m and s that needs no fraction: 20m, not 20m0s; 90s, not 1m30s.
func (d Duration) MarshalText() ([]byte, error) {
	t := time.Duration(d)
	switch {
	case t%time.Hour == 0:
		return fmt.Appendf(nil, "%dh", t/time.Hour), nil
	case t%time.Minute == 0:
		return fmt.Appendf(nil, "%dm", t/time.Minute), nil
	}
	seconds := strconv.AppendInt(nil, int64(t/time.Second), 10)
	if rest := t % time.Second; rest > 0 {
		seconds = append(seconds, '.')
		for place := time.Second / 10; rest > 0; place /= 10 {
			seconds = append(seconds, byte('0'+rest/place))
			rest %= place
		}
	}
	return append(seconds, 's'), nil
}

// UnmarshalText reads a positive time with its unit.
func (d *Duration) UnmarshalText(text []byte) error {
	t, err := time.ParseDuration(string(text))
	if err != nil || t <= 0 {
		return fmt.Errorf("%q is not a time such as 90s, 20m or 24h", text)
	}
	*d = Duration(t)
	return nil
}

func (d Duration) String() string {
	text, _ := d.MarshalText()
	return string(text)
}
