// Package material is what a shop knows of a two-part system: its card, with ratio, densities, tolerance, times and
// cautions. A card says only what its writer said: nothing is filled in, and what holds where the card is silent is
// answered by methods and listed by Assumed.
//
// A card is read by one strict decoder, whether it comes as JSON (Decode), YAML or a table (ImportYAML, ImportCSV), and
// all that is wrong with it is told at once. A ratio can also be typed by itself (ParseRatio).
package material
