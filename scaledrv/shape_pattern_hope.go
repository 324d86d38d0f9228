package scaledrv

import (
	"regexp/syntax"
)

// charKind is all that an expression's ^, $ and \b can ask of a character, and whether it is a digit.
type charKind uint8

const (
	charNone charKind = iota // before the line's first and behind its last
	charDigit
	charWord
	charOther
	charKinds
)

var charExamples = [charKinds]rune{charNone: -1, charDigit: '0', charWord: 'a', charOther: ' '}

func charKindOf(r rune) charKind {
	switch {
	case '0' <= r && r <= '9':
		return charDigit
	case syntax.IsWordChar(r):
		return charWord
	}
	return charOther
}

// place is where a match may stand: at an instruction, between two characters.
type place struct {
	pc          uint32
	left, right charKind
	inside      bool // the group
	digit       bool // its newest text has one
}

// takesDigit says whether there is a line of at most maxLine characters that the program could match with a digit in this
// group. It walks through all places, breadth first, so that each is met by its shortest line. Which of several ways an
// expression prefers is not asked: a pattern may pass and yet never find a number.
func takesDigit(prog *syntax.Prog, group int) bool {
	seen := map[place]bool{}
	var now, then []place // to be gone on from, with so many characters and with one more
	for right := range charKinds {
		then = append(then, place{pc: uint32(prog.Start), right: right})
	}
	for range maxLine + 1 {
		now, then = then, now[:0]
		for len(now) > 0 {
			p := now[len(now)-1]
			now = now[:len(now)-1]
			if seen[p] {
				continue
			}
			seen[p] = true
			inst := &prog.Inst[p.pc]
			switch inst.Op {
			case syntax.InstMatch:
				if p.digit {
					return true
				}
			case syntax.InstRune, syntax.InstRune1, syntax.InstRuneAny, syntax.InstRuneAnyNotNL:
				if takesKind(inst, p.right) {
					then = p.behind(inst.Out, then)
				}
			default:
				now = p.without(inst, group, now)
			}
		}
	}
	return false
}

// behind adds the places one character on.
func (p place) behind(pc uint32, to []place) []place {
	digit := p.digit || p.inside && p.right == charDigit
	for right := range charKinds {
		to = append(to, place{pc, p.right, right, p.inside, digit})
	}
	return to
}

// without adds the places to which an instruction leads without a character.
func (p place) without(inst *syntax.Inst, group int, to []place) []place {
	next := p
	next.pc = inst.Out
	switch inst.Op {
	case syntax.InstFail:
		return to
	case syntax.InstAlt, syntax.InstAltMatch:
		other := p
		other.pc = inst.Arg
		to = append(to, other)
	case syntax.InstCapture:
		switch int(inst.Arg) {
		case 2 * group:
			next.inside, next.digit = true, false
		case 2*group + 1:
			next.inside = false
		}
	case syntax.InstEmptyWidth:
		if !inst.MatchEmptyWidth(charExamples[p.left], charExamples[p.right]) {
			return to
		}
	}
	return append(to, next)
}

// takesKind says whether an instruction takes any character of this kind that a line can have.
func takesKind(inst *syntax.Inst, kind charKind) bool {
	for r := rune(1); r <= '~'; r++ {
		if r != '\r' && r != '\n' && charKindOf(r) == kind && inst.MatchRune(r) {
			return true
		}
	}
	return false
}
