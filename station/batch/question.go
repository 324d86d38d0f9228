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
)

// answerTo is the choice that gives what landed to a part.
func answerTo(part string) string { return "to_" + strings.ToLower(part) }

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

// noRoom asks what to do when what should follow does not fit.
func noRoom(ask string, reason error) Question {
	return Question{Ask: ask, Detail: reason.Error(), Choices: []string{"accept", "scrap"}, kind: noRoomQuestion}
}
