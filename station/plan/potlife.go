package plan

import (
	"cmp"
	"math"
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

// Basis is what a pot life rests on.
type Basis string

const (
	ByCard     Basis = "card"        // the card's own figure
	ByTable    Basis = "table"       // the card's table
	ByEstimate Basis = "estimate"    // shortened by a rule
	UpperBound Basis = "upper_bound" // at most this
	Unknown    Basis = "unknown"
)

// PotLife is the working time of a mix, from the first contact of A and B.
type PotLife struct {
	Time     time.Duration // whole seconds, rounded down; 0: unknown
	LastCast time.Duration // the last moment to cast: Time, half of it for an upper bound (ours)
	Basis    Basis
	Colder   bool // than the card's figure: it stands, but the cure may be slow
}

const (
	gasConstant = 8.31446261815324 // J/(mol·K), exact (SI Brochure, 9th edition)
	zeroCelsius = 273.15           // K
	halvesPerK  = 10.0             // half the time for so much warmer (common practice, no source)
	tooWarmK    = 10.0             // warmer than the card by more than this: no figure (ours)
)

// PotLifeAt is the pot life of so much mix at a temperature in °C; nil: at the card's. The card's table comes first, a
// straight line of ln t over 1/T between its points and the card's own; then its activation energy (Arrhenius), else
// half for each 10 °C. It only ever shortens: nothing but a table gives more than the card, colder is the card's time,
// and more than 10 °C warmer is unknown. A larger mass than any that the card has a figure for is an upper bound, and
// so is a card that does not say at which mass or temperature its figure holds.
func PotLifeAt(card *material.PotLife, mass reading.Mass, celsius *float64) PotLife {
	if card == nil || card.Time <= 0 {
		return PotLife{Basis: Unknown}
	}
	life := PotLife{Basis: ByCard}
	seconds := time.Duration(card.Time).Seconds()
	points, enough := potLifePoints(card, mass)
	if celsius != nil && card.TemperatureC != nil {
		life.Colder = *celsius < *card.TemperatureC
		seconds, life.Basis = atTemperature(card, points, seconds, *celsius)
	} else if p, same := pointAt(points, card.TemperatureC); same && p.seconds != seconds {
		seconds, life.Basis = p.seconds, ByTable
	}
	if life.Basis == Unknown {
		return life
	}
	life.Time = time.Duration(math.Floor(seconds*(1+1e-12))) * time.Second
	life.LastCast = life.Time
	if !enough || card.TemperatureC == nil {
		life.Basis, life.LastCast = UpperBound, life.Time/2
	}
	return life
}

// point is a time that the card gives for a temperature.
type point struct{ celsius, seconds float64 }

// potLifePoints are the card's figures for the smallest of its masses that is not below the batch's, by temperature; a
// row without a mass is at the card's. Where all are below, enough is false and they are those of the largest.
func potLifePoints(card *material.PotLife, mass reading.Mass) (points []point, enough bool) {
	rows := append([]material.PotLifeRow{{TemperatureC: card.TemperatureC, MassG: card.MassG, Time: card.Time}}, card.Table...)
	group := 0.0
	for i := range rows {
		if rows[i].MassG == nil {
			rows[i].MassG = card.MassG
		}
		m := rows[i].MassG
		if m == nil {
			continue
		}
		fits := *m >= mass.Grams()
		if better := fits && (!enough || *m < group) || !fits && !enough && *m > group; better {
			group, enough = *m, fits
		}
	}
	for _, row := range rows {
		if row.TemperatureC != nil && (row.MassG == nil || *row.MassG == group) {
			points = append(points, point{*row.TemperatureC, time.Duration(row.Time).Seconds()})
		}
	}
	slices.SortFunc(points, func(a, b point) int { return cmp.Compare(a.celsius, b.celsius) })
	return points, enough
}

func pointAt(points []point, celsius *float64) (point, bool) {
	for _, p := range points {
		if celsius != nil && p.celsius == *celsius {
			return p, true
		}
	}
	return point{}, false
}

// atTemperature is the time for a card with a temperature.
func atTemperature(card *material.PotLife, points []point, seconds, celsius float64) (float64, Basis) {
	for i := 1; i < len(points); i++ {
		if low, high := points[i-1], points[i]; celsius >= low.celsius && celsius <= high.celsius {
			t := between(low, high, celsius)
			if celsius == *card.TemperatureC && t == seconds {
				return t, ByCard
			}
			return t, ByTable
		}
	}
	from := point{*card.TemperatureC, seconds}
	for _, p := range points { // the warmest figure below, where a table ends
		if p.celsius <= celsius && p.celsius >= from.celsius {
			from = p
		}
	}
	switch {
	case celsius-*card.TemperatureC > tooWarmK:
		return 0, Unknown
	case celsius > from.celsius:
		return min(seconds, warmer(card, from, celsius)), ByEstimate
	}
	return from.seconds, ByCard
}

// between is the straight line of ln t over 1/T, in kelvin, through two of the card's points.
func between(low, high point, celsius float64) float64 {
	if celsius == low.celsius {
		return low.seconds
	}
	inverse := func(c float64) float64 { return 1 / (c + zeroCelsius) }
	share := (inverse(low.celsius) - inverse(celsius)) / (inverse(low.celsius) - inverse(high.celsius))
	return low.seconds * math.Pow(high.seconds/low.seconds, share)
}

// warmer is the time at a higher temperature: t·exp(Ea/R·(1/T − 1/T0)), else t·2^((T0 − T)/10).
func warmer(card *material.PotLife, from point, celsius float64) float64 {
	if card.ActivationKJPerMol == nil {
		return from.seconds * math.Exp2((from.celsius-celsius)/halvesPerK)
	}
	ea := 1000 * *card.ActivationKJPerMol
	return from.seconds * math.Exp(ea/gasConstant*(1/(celsius+zeroCelsius)-1/(from.celsius+zeroCelsius)))
}
