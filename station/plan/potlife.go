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

// PotLifeAt is the pot life of so much mix at a temperature in °C; nil: at the card's. The card must be valid. Only its
// figures for the smallest mass that is not below the batch's are used, with a straight line of ln t over 1/T between
// them; above the warmest of them its activation energy (Arrhenius), else half for each 10 °C. It only ever shortens:
// nothing but a table that is colder gives more than the card, colder still is the time of the coldest figure, and more
// than 10 °C warmer than the card or the warmest figure is unknown. A larger mass than any that the card has a figure
// for is an upper bound, and so is a card that does not say at which mass or temperature its figure holds.
func PotLifeAt(card *material.PotLife, mass reading.Mass, celsius *float64) PotLife {
	if card == nil || card.Time <= 0 {
		return PotLife{Basis: Unknown}
	}
	life := PotLife{Basis: ByCard}
	seconds := time.Duration(card.Time).Seconds()
	enough := false
	if card.TemperatureC != nil { // without it, there is no table either
		at := *card.TemperatureC
		if celsius != nil {
			at = *celsius
		}
		life.Colder = at < *card.TemperatureC
		var points []point
		points, enough = potLifePoints(card, mass)
		seconds, life.Basis = atTemperature(point{*card.TemperatureC, seconds}, points, at, card.ActivationKJPerMol)
	}
	if life.Basis == Unknown {
		return life
	}
	life.Time = time.Duration(math.Floor(seconds*(1+1e-12))) * time.Second
	life.LastCast = life.Time
	if !enough {
		life.Basis, life.LastCast = UpperBound, life.Time/2
	}
	return life
}

// point is a time that the card gives for a temperature.
type point struct{ celsius, seconds float64 }

// potLifePoints are the card's figures for the smallest of its masses that is not below the batch's, by temperature; a
// row without a mass is at the card's. Where all are below, or none is stated, enough is false and they are those of
// the largest.
func potLifePoints(card *material.PotLife, mass reading.Mass) (points []point, enough bool) {
	rows := append([]material.PotLifeRow{{TemperatureC: card.TemperatureC, MassG: card.MassG, Time: card.Time}}, card.Table...)
	group := 0.0 // of the figures whose mass is not stated
	of := func(row material.PotLifeRow) float64 {
		if row.MassG != nil {
			return *row.MassG
		}
		if card.MassG != nil {
			return *card.MassG
		}
		return 0
	}
	for _, row := range rows {
		m := of(row)
		fits := m > 0 && m >= mass.Grams()
		if better := fits && (!enough || m < group) || !fits && !enough && m > group; better {
			group, enough = m, fits
		}
	}
	for _, row := range rows {
		if of(row) == group {
			points = append(points, point{*row.TemperatureC, time.Duration(row.Time).Seconds()})
		}
	}
	slices.SortFunc(points, func(a, b point) int { return cmp.Compare(a.celsius, b.celsius) })
	return points, enough
}

// atTemperature is the time at a temperature by the figures for one mass, which need not have the card's own among them.
func atTemperature(own point, points []point, celsius float64, activation *float64) (seconds float64, basis Basis) {
	first, last := points[0], points[len(points)-1]
	switch {
	case celsius < first.celsius: // where it is colder it takes longer: nobody says how much
		if first == own || own.seconds < first.seconds {
			return own.seconds, ByCard
		}
		return first.seconds, ByTable
	case celsius > last.celsius && celsius-min(own.celsius, last.celsius) > tooWarmK:
		return 0, Unknown
	case celsius > last.celsius:
		return min(own.seconds, warmer(activation, last, celsius)), ByEstimate
	}
	i := slices.IndexFunc(points, func(p point) bool { return p.celsius >= celsius })
	if points[i] == own && celsius == own.celsius {
		return own.seconds, ByCard
	}
	seconds = points[i].seconds
	if celsius < points[i].celsius {
		seconds = between(points[i-1], points[i], celsius)
	}
	if celsius >= own.celsius { // a line for a larger mass from far below may pass above it
		seconds = min(own.seconds, seconds)
	}
	return seconds, ByTable
}

// between is the straight line of ln t over 1/T, in kelvin, through two of the card's points.
func between(low, high point, celsius float64) float64 {
	inverse := func(c float64) float64 { return 1 / (c + zeroCelsius) }
	share := (inverse(low.celsius) - inverse(celsius)) / (inverse(low.celsius) - inverse(high.celsius))
	return low.seconds * math.Pow(high.seconds/low.seconds, share)
}

// warmer is the time at a higher temperature: t·exp(Ea/R·(1/T − 1/T0)) with Ea in kJ/mol, else t·2^((T0 − T)/10).
func warmer(activation *float64, from point, celsius float64) float64 {
	if activation == nil {
		return from.seconds * math.Exp2((from.celsius-celsius)/halvesPerK)
	}
	ea := 1000 * *activation
	return from.seconds * math.Exp(ea/gasConstant*(1/(celsius+zeroCelsius)-1/(from.celsius+zeroCelsius)))
}
