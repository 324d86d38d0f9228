package material

// Card is one two-part system. Only ID, Name and Ratio are required; a nil, zero or empty field is one that the card
// does not state. A field whose name begins with Stated has a default: the method without that prefix gives the value
// in force.
type Card struct {
	ID                       string        `json:"id"` // a-z, 0-9 and -, at most 64
	Name                     string        `json:"name"`
	Ratio                    Ratio         `json:"ratio"`
	Density                  Density       `json:"density,omitzero"`
	StatedTolerance          *TolerancePct `json:"tolerance_pct,omitempty"`
	StatedAmountTolerancePct *float64      `json:"amount_tolerance_pct,omitempty"` // of A's target
	StatedMeasureB           string        `json:"measure_b,omitempty"`            // weight, volume, drops
	StatedCombine            string        `json:"combine,omitempty"`              // in_cup, apart
	StatedHurry              *bool         `json:"hurry,omitempty"`
	StatedViscosity          string        `json:"viscosity,omitempty"`
	PotLife                  *PotLife      `json:"pot_life,omitempty"`
	Steps                    []Step        `json:"steps,omitempty"`
	MoistureSensitive        *bool         `json:"moisture_sensitive,omitempty"`
	Additions                []Addition    `json:"additions,omitempty"`
	Equivalents              *Equivalents  `json:"equivalents,omitempty"`
	Codes                    Codes         `json:"codes,omitzero"`
	Cautions                 []string      `json:"cautions,omitempty"`
	SDS                      SDS           `json:"sds,omitzero"`
}

// Density in g/mL. Mixed is of A + B in the cup, Cast of what fills the mould; AtC the temperature in °C they hold at.
type Density struct {
	A     Number   `json:"a,omitempty"`
	B     Number   `json:"b,omitempty"`
	Mixed Number   `json:"mixed,omitempty"`
	Cast  Number   `json:"cast,omitempty"`
	AtC   *float64 `json:"at_c,omitempty"`
}

// PotLife is the working time of MassG grams at TemperatureC. Other conditions by the table or by an activation
// energy, not both.
type PotLife struct {
	Time               Duration     `json:"time,omitempty"`
	MassG              *float64     `json:"mass_g,omitempty"`
	TemperatureC       *float64     `json:"temperature_c,omitempty"`
	Table              []PotLifeRow `json:"table,omitempty"`
	ActivationKJPerMol *float64     `json:"activation_kj_mol,omitempty"`
}

// PotLifeRow is the working time under other conditions.
type PotLifeRow struct {
	TemperatureC *float64 `json:"temperature_c,omitempty"`
	MassG        *float64 `json:"mass_g,omitempty"`
	Time         Duration `json:"time,omitempty"`
}

// Step is one thing to do, in the card's order.
type Step struct {
	Kind            string   `json:"step"` // stir, degas_a, mix, second_cup, degas, cast, press, cure, demould, post_cure
	Time            Duration `json:"time,omitempty"`
	Within          Duration `json:"within,omitempty"`
	ScrapeEvery     Duration `json:"scrape_every,omitempty"`
	TemperatureC    *float64 `json:"temperature_c,omitempty"`
	PressureMbarAbs *float64 `json:"pressure_mbar_abs,omitempty"`
	Headroom        *float64 `json:"headroom,omitempty"` // cup volume ÷ mix volume
	Verb            string   `json:"verb,omitempty"`     // cast, pot, laminate, brush, spray
}

// Addition is anything weighed besides A and B. Fields whose names begin with Stated have a default, as in Card.
type Addition struct {
	ID                   string   `json:"id"`
	Name                 string   `json:"name,omitempty"`
	Role                 string   `json:"role,omitempty"`            // pigment, filler, accelerator, catalyst, other
	Of                   string   `json:"of,omitempty"`              // a, b, ab: what Pct is a percentage of
	Pct                  *float64 `json:"pct,omitempty"`             // by mass
	StatedWhen           string   `json:"when,omitempty"`            // before_a, after_a, after_b
	StatedCountsAs       string   `json:"counts_as,omitempty"`       // none, a, b
	StatedCountsFraction *float64 `json:"counts_fraction,omitempty"` // 0 to 1: the share that counts
	Density              Number   `json:"density,omitempty"`         // g/mL
	StatedTolerancePct   *float64 `json:"tolerance_pct,omitempty"`   // of its own target
	StirIn               *bool    `json:"stir_in,omitempty"`
}

// Equivalents are the equivalent weights of A and B in g per equivalent: of epoxide and amine hydrogen, or of NCO and OH.
// With them a record tells the index of what was poured.
type Equivalents struct {
	A             Number `json:"a,omitempty"`
	B             Number `json:"b,omitempty"`
	StatedIndexOf string `json:"index_of,omitempty"` // a, b: the part with the amine or the NCO, counted per 100 of the other
}

// Codes are the exact texts that a scanner reads on the containers of A and B.
type Codes struct {
	A []string `json:"a,omitempty"`
	B []string `json:"b,omitempty"`
}

// IsZero keeps a card without codes free of them, whether its lists are missing or empty.
func (c Codes) IsZero() bool { return len(c.A) == 0 && len(c.B) == 0 }

// SDS says where the safety data sheets of A and B are.
type SDS struct {
	A string `json:"a,omitempty"`
	B string `json:"b,omitempty"`
}

// Stored is a revision of a card: in JSON the card's fields with `revision` beside them.
type Stored struct {
	Card
	Revision int `json:"revision"` // from 1
}
