// Package chem is the stoichiometry of two-part resins: equivalent weights from what a data sheet states, the mix
// ratio by weight from them, and the index that a ratio of masses has. Everything is a pure function.
//
// An equivalent weight is the grams of a material that carry one mole of its reactive groups, g/eq. Full stoichiometry
// is a start, not a recipe: homopolymerisation and catalysed systems leave it, and a commercial hardener is a mixture
// whose supplier's figure decides, never that of the pure compound. The numbers of the test methods named here (ASTM
// D1652, D2572, D4274, D5155) are from memory.
package chem
