package batch

import (
	"fmt"
	"strings"

	"twocup/scaledrv/reading"
)

// Question is what the person is asked, at rest, with two choices, each an action. The zero value is none.
type Question struct {
	Ask     string   `json:"ask"`
	Detail  string   `json:"detail"`
	Choices []string `json:"choices"`

	kind questionKind
}

type questionKind uint8

const (
	noQuestion questionKind = iota
	aOrBQuestion
	noRoomQuestion
	cupChangedQuestion
	jumpQuestion
	putQuestion
)

// toPart begins the choices that give what landed to a part.
const toPart = "to_"

func answerTo(part string) string { return toPart + strings.ToLower(part) }

// aOrB asks whose the mass is that landed too soon after a part was accepted.
func aOrB(last, next string, rise reading.Mass) Question {
	return Question{
		Ask:     fmt.Sprintf("%s or %s?", last, next),
		Detail:  fmt.Sprintf("%v landed right after %s was accepted. Which part was it?", rise, last),
		Choices: []string{answerTo(last), answerTo(next)},
		kind:    aOrBQuestion,
	}
}

// cupChanged asks about a cup that came back too heavy or much too light.
func cupChanged(change reading.Mass) Question {
	than := "heavier"
	if change < 0 {
		than = "lighter"
	}
	return Question{
		Ask:     "Is it the same cup?",
		Detail:  fmt.Sprintf("It came back %v %s than it left. If it is the same cup the batch goes on, but its verdict will be unproven.", change.Abs(), than),
		Choices: []string{"same_cup", "scrap"},
		kind:    cupChangedQuestion,
	}
}

// liftedOrTared asks what made the value jump to zero.
func liftedOrTared(j *Jumped) Question {
	if j.Silent {
		return Question{
			Ask: "Was the scale switched off and on?",
			Detail: fmt.Sprintf("It was silent, and shows zero where it showed %v. If the cup stands on it as before and nothing was poured meanwhile, the batch goes on. If the cup was lifted, just set it back.",
				reading.Mass(j.From)),
			Choices: []string{"tared", "scrap"},
			kind:    jumpQuestion,
		}
	}
	return Question{
		Ask: "Was the cup lifted, or a key pressed?",
		Detail: fmt.Sprintf("The scale went from %v to zero at once: the cup was lifted, or TARE or ZERO was pressed.",
			reading.Mass(j.From)),
		Choices: []string{"lifted", "tared"},
		kind:    jumpQuestion,
	}
}

// pouredOrPut asks about mass that came faster than a stream.
func pouredOrPut(m reading.Mass) Question {
	return Question{
		Ask:     "Was it poured?",
		Detail:  fmt.Sprintf("%v came all at once, with no stream. Was it poured, or was something put in or on, a stick, a jug, a hand? Taking that off again is an answer too.", m),
		Choices: []string{"poured", "put_in"},
		kind:    putQuestion,
	}
}

// noRoom asks what to do when what should follow does not fit.
func noRoom(ask string, reason error) Question {
	return Question{Ask: ask, Detail: reason.Error(), Choices: []string{"accept", "scrap"}, kind: noRoomQuestion}
}
