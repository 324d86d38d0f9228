package batch

import (
	"slices"
	"strings"
)

// Meant is the action that a scanned one stands for: `twocup:ACTION` is that action. Every other is what it says.
func (a Act) Meant() Act {
	if action, ok := strings.CutPrefix(a.Code, "twocup:"); ok && a.Action == "scanned" {
		a.Action, a.Code = action, ""
	}
	return a
}

// actScanned has the part at hand begin by the code of its container.
func (s *State) actScanned(a Act) (Fact, error) {
	codes, part := s.Start.Card.Codes, ""
	switch {
	case a.Code == "":
		return nil, wrong(`scanned needs the "code" that was read`)
	case slices.Contains(codes.A, a.Code):
		part = "A"
	case slices.Contains(codes.B, a.Code):
		part = "B"
	default:
		return nil, &Refusal{Unknown: true, Detail: "no card knows the code " + a.Code}
	}
	switch {
	case !s.OnScale():
		return nil, misfit("everything is weighed: no part is to begin")
	case s.dosing().Part.Part != part:
		return nil, misfit("that is a container of part %s, and %s is next: put it back", part, s.dosing().Part.Part)
	case !s.waiting:
		return nil, misfit("part %s is at hand already: nothing is to begin", part)
	}
	return s.actBegins(a)
}
