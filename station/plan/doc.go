// Package plan works out a batch before anything is poured: how much of each part, in what window each may end, what
// the scale can prove of it, and what speaks against starting. What is not yet poured is then worked out anew from
// what was. Everything here is pure; a Plan holds all it needs, so that it is the same after years in a ledger.
package plan
