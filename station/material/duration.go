package material

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
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
		if meant := meantTime(string(text)); meant != "" {
			return fmt.Errorf("%q is not a time: did you mean %s?", text, meant)
		}
		return fmt.Errorf("%q is not a time such as 90s, 20m or 24h", text)
	}
	*d = Duration(t)
	return nil
}

var (
	timeWritten = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?) *([a-z]+)\.?$`)
	timeWords   = []string{"second", "seconds", "minute", "minutes", "hour", "hours"}
	timeUnits   = map[string]string{"s": "s", "sec": "s", "secs": "s", "m": "m", "min": "m", "mins": "m", "h": "h", "hr": "h", "hrs": "h"}
)

// meantTime is a time written in another way, such as 20 min, in the way that is read; empty where none is seen.
func meantTime(text string) string {
	parts := timeWritten.FindStringSubmatch(strings.ToLower(text))
	if parts == nil {
		return ""
	}
	if unit, ok := timeUnits[parts[2]]; ok {
		return parts[1] + unit
	}
	if word := nearest(parts[2], timeWords); word != "" {
		return parts[1] + word[:1]
	}
	return ""
}

func (d Duration) String() string {
	text, _ := d.MarshalText()
	return string(text)
}
