package plan

import (
	"fmt"
	"math"
	"strings"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
)

// lengthUnits are millimetres in each unit that a mould may be measured in; an inch is 25.4 mm exactly.
var lengthUnits = []struct {
	name        string
	millimetres float64
}{{"mm", 1}, {"cm", 10}, {"in", 25.4}, {"m", 1000}}

// ParseBox reads the inner edges of a mould, "100x50x20mm", and gives its volume in mL.
func ParseBox(text string) (millilitres float64, err error) {
	edges, err := parseEdges(text, 3)
	if err != nil {
		return 0, fmt.Errorf("read box %q: %w; write length, width and height with their unit, such as 100x50x20mm", text, err)
	}
	return edges[0] * edges[1] * edges[2] / 1000, nil
}

// ParseCylinder reads the inner diameter and the height of a round mould, "50x20mm", and gives its volume in mL.
func ParseCylinder(text string) (millilitres float64, err error) {
	edges, err := parseEdges(text, 2)
	if err != nil {
		return 0, fmt.Errorf("read cylinder %q: %w; write diameter and height with their unit, such as 50x20mm", text, err)
	}
	return math.Pi / 4 * edges[0] * edges[0] * edges[1] / 1000, nil
}

// parseEdges reads so many lengths in mm, with one unit at the end.
func parseEdges(text string, count int) ([]float64, error) {
	numbers := strings.Split(strings.ReplaceAll(strings.ToLower(text), "×", "x"), "x")
	if len(numbers) != count {
		return nil, fmt.Errorf("it has %d lengths, must have %d", len(numbers), count)
	}
	last, unit := splitNumber(numbers[count-1])
	numbers[count-1] = last
	edges := make([]float64, count)
	for i, number := range numbers {
		exact, err := parseNumber(number, strings.TrimSpace(number))
		if err != nil {
			return nil, err
		}
		if edges[i], _ = exact.Float64(); edges[i] == 0 {
			return nil, fmt.Errorf("a length is 0")
		}
	}
	for _, u := range lengthUnits {
		if u.name == unit {
			for i := range edges {
				edges[i] *= u.millimetres
			}
			return edges, nil
		}
	}
	return nil, fmt.Errorf("%q is no unit of length (known: mm, cm, in, m), one for all lengths at the end", unit)
}

// WaterFill is the volume in mL of a mould that holds so much clean water of a temperature in °C, 0 to 40, on the scale:
// m·(1 − ρa/ρw)/(ρ − ρa), with the density of water by Tanaka et al. (2001) and the lift of the air, which is 0.1 % of
// it, taken in (ISO 4787, ISO 8655-6).
func WaterFill(water reading.Mass, celsius float64) (millilitres float64, err error) {
	density, err := metrology.WaterDensity(celsius)
	if err != nil {
		return 0, fmt.Errorf("find a mould's volume by water: %w", err)
	}
	if water <= 0 {
		return 0, fmt.Errorf("find a mould's volume by water: %s of water is no filling; weigh the mould empty and full, and take the difference", water)
	}
	return water.Grams() * metrology.Buoyancy(density) / density, nil
}
