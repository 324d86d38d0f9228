package metrology

import "fmt"

// What a bench scale weighs against: conventional densities in g/mL of air and of the weights it was adjusted with
// (OIML D 28:2004).
const (
	airDensity    = 0.0012
	weightDensity = 8.0
)

// WaterDensity is the density in g/mL of clean, air-free water at 101 325 Pa, for 0 to 40 °C (Tanaka et al., Metrologia
// 38, 2001, 301). Outside that range it is an error.
func WaterDensity(celsius float64) (float64, error) {
	if !(celsius >= 0 && celsius <= 40) {
		return 0, fmt.Errorf("find the density of water at %v °C: it is known from 0 to 40 °C; measure the water's temperature again", celsius)
	}
	const a1, a2, a3, a4, a5 = -3.983035, 301.797, 522528.9, 69.34881, 0.999974950
	t := celsius
	return a5 * (1 - (t+a1)*(t+a1)*(t+a2)/(a3*(t+a4))), nil
}

// Buoyancy is the mass of a liquid of so many g/mL over what a scale in air shows for it (OIML D 28:2004; NIST IR 6969,
// SOP 2): 1.00105 for water.
func Buoyancy(density float64) float64 {
	return (1 - airDensity/weightDensity) / (1 - airDensity/density)
}

// RatioBuoyancy is by how much, relatively, B/A as weighed in air differs from B/A by mass, for densities in g/mL; the
// weights cancel (OIML D 28:2004). It is -0.00013 for 1.10 and 0.98, below 0.0005 from 0.8 to 1.2 g/mL.
func RatioBuoyancy(densityA, densityB float64) float64 {
	return Buoyancy(densityA)/Buoyancy(densityB) - 1
}
