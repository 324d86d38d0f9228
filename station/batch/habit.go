package batch

import (
	"maps"

	"twocup/station/pour"
)

// Habits are how one hand pours the parts of one material, by part; nil: nothing is known of it. They are personal data,
// so they stand in no fact. They steer cues and nothing else: facts are the same whatever they say.
type Habits map[string]pour.Habit

// habit is what may be expected of the hand with a part.
func (s *State) habit(part string) pour.Habit {
	return s.habits[part].Or(pour.FirstHabit(viscosity(s.Start.Card.Viscosity(), part)))
}

// aim is a dosing's with the tail that its card lets expect. What a hand has shown has no part in it: facts depend on it.
func (s *State) aim(d *Dosing) pour.Aim {
	a := d.aim()
	a.Tail = pour.FirstHabit(viscosity(s.Start.Card.Viscosity(), d.Part.Part)).Tail.Longest()
	return a
}

// viscosity of one part of a card; empty where the card doesn't say.
func viscosity(card, part string) string {
	switch {
	case part != "A" && part != "B":
		return ""
	case card == "thick_thin" && part == "A":
		return "thick"
	case card == "thick_thin":
		return "thin"
	}
	return card
}

// guideTo is the guidance of a dosing not begun.
func (s *State) guideTo(i int) pour.Guide {
	if i == len(s.Dosings) {
		return pour.Guide{}
	}
	return pour.NewGuide(s.habit(s.Dosings[i].Part.Part))
}

// Learned is the hand's habit with the part whose acceptance is about to be recorded, and whether it has shown anything
// new. What is not known to be in the cup teaches nothing; nor do facts that are only read back.
func (s *State) Learned(f Accepted) (pour.Habit, bool) {
	before := s.habit(f.Part)
	after := s.guide.Habit(f.Poured, s.Pan.Division)
	return after, f.Dosing == s.at && s.Doubt == "" && after != before
}

// learn has the rest of the batch go on with what its own pours have shown.
func (s *State) learn(f Accepted) {
	h, learned := s.Learned(f)
	if !learned {
		return
	}
	habits := Habits{} // earlier states keep theirs
	maps.Copy(habits, s.habits)
	habits[f.Part] = h
	s.habits = habits
}
