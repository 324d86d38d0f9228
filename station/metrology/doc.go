// Package metrology says what a scale can prove: the uncertainty of the ratio of two weighed masses, the verdict on
// it, the range of a mass for which that verdict is `within`, and the smallest batch that is worth starting.
// The model is in readings (JCGM 100): a reading that ends one weighing and begins the next belongs to both, and
// counts against the ratio twice. Everything is a pure function of the weighings handed in.
package metrology
