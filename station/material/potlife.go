package material

import "fmt"

// maxActivation bounds an activation energy, in kJ/mol; a factor 2 per 10 °C is about 53 (common practice, no source).
const maxActivation = 500

func (p *PotLife) validate(f *Faults) {
	if p == nil {
		return
	}
	before := len(*f)
	if p.Time == 0 {
		f.add("pot_life.time", "is missing")
	}
	f.duration("pot_life.time", p.Time)
	f.positive("pot_life.mass_g", p.MassG, maxMassG)
	f.celsius("pot_life.temperature_c", p.TemperatureC)
	f.positive("pot_life.activation_kj_mol", p.ActivationKJPerMol, maxActivation)
	if p.Table != nil && p.ActivationKJPerMol != nil {
		f.add("pot_life", "has a table and an activation energy, must have one of them")
	}
	if (p.Table != nil || p.ActivationKJPerMol != nil) && p.TemperatureC == nil {
		f.add("pot_life.temperature_c", "is missing: a table or an activation energy starts from the temperature that time holds at")
	}
	for i, row := range p.Table {
		row.validate(f, fmt.Sprintf("pot_life.table[%d]", i))
	}
	if len(*f) == before {
		p.validateTable(f)
	}
}

func (row PotLifeRow) validate(f *Faults, field string) {
	if row.Time == 0 || row.TemperatureC == nil {
		f.add(field, "must have temperature_c and time")
	}
	f.duration(field+".time", row.Time)
	f.celsius(field+".temperature_c", row.TemperatureC)
	f.positive(field+".mass_g", row.MassG, maxMassG)
}

// validateTable asks of sound rows that they rise by temperature, then mass, and that none is warmer or heavier than
// another, the card's own time among them, and yet longer. A row without a mass is for the card's.
func (p *PotLife) validateTable(f *Faults) {
	mass := func(row PotLifeRow) float64 {
		if row.MassG != nil {
			return *row.MassG
		}
		if p.MassG != nil {
			return *p.MassG
		}
		return 0
	}
	own := PotLifeRow{TemperatureC: p.TemperatureC, MassG: p.MassG, Time: p.Time}
	for i, row := range p.Table {
		field := fmt.Sprintf("pot_life.table[%d]", i)
		t, m := *row.TemperatureC, mass(row)
		if i > 0 {
			if last := p.Table[i-1]; t < *last.TemperatureC || t == *last.TemperatureC && m <= mass(last) {
				f.add(field, "does not rise above the row before it: rows go up by temperature, then by mass, and each is there once")
				return
			}
		}
		for _, other := range append(p.Table[:i:i], own) {
			ot, om := *other.TemperatureC, mass(other)
			switch {
			case t == ot && m == om:
				f.add(field, "is for the temperature and mass of pot_life.time, which is there already")
			case t >= ot && m >= om && row.Time > other.Time, t <= ot && m <= om && row.Time < other.Time:
				f.add(field, "says %s at %s °C and %s at %s °C: warmer or heavier is never longer", row.Time, short(t), other.Time, short(ot))
			default:
				continue
			}
			break
		}
	}
}
