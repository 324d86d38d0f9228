package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
)

type identifyCommand struct {
	Port string `arg:"" help:"The scale's device, such as /dev/ttyUSB0, or its link as in the configuration; settings that stand in it are not tried anew."`
	Ask  bool   `help:"Also send the usual requests to a scale that says nothing by itself. An unknown command can change its set-up."`
	Unit string `placeholder:"SYMBOL" help:"Unit that the scale shows, for lines that state none."`
	JSON bool   `name:"json" help:"Print what was found as JSON."`
}

// foundID is the id of a printed entry, to be changed by who pastes it.
const foundID = "scale-1"

func (c identifyCommand) Run(ctx context.Context, s streams) error {
	text := linkText(c.Port)
	link, err := scaledrv.ParseLink(text)
	if err != nil {
		return &failure{exitUsage, err}
	}
	opt := scaledrv.IdentifyOptions{Ask: c.Ask, Progress: func(text string) { fmt.Fprintln(s.log, text) }}
	if c.Unit != "" {
		if opt.Unit, err = reading.ParseUnit(c.Unit); err != nil {
			return &failure{exitUsage, fmt.Errorf("--unit: %w", err)}
		}
	}
	if c.Ask {
		fmt.Fprintln(s.log, "A scale that says nothing will be sent the usual requests. An unknown command can change its set-up: Ctrl-C ends this.")
	}
	id, err := scaledrv.Identify(ctx, link, opt)
	switch {
	case errors.Is(err, context.Canceled):
		return errors.New("identify: interrupted (start it again)")
	case err != nil:
		return &failure{exitUnreachable, err}
	}
	if c.JSON {
		err = printIdentificationJSON(s.out, id, text)
	} else {
		printIdentification(s.out, id, text)
	}
	if err == nil && !id.Sure {
		err = &failure{exitFault, errors.New("identify: " + id.Advice)}
	}
	return err
}

func printIdentificationJSON(out io.Writer, id scaledrv.Identification, link string) error {
	entries := []string{}
	for _, c := range id.Candidates {
		entries = append(entries, c.Entry(foundID, link))
	}
	return json.NewEncoder(out).Encode(struct {
		Link           string                  `json:"link"`
		Identification scaledrv.Identification `json:"identification"`
		Entries        []string                `json:"entries"`
	}{link, id, entries})
}

// printIdentification prints entries to be pasted under `scales:`. All but the likeliest are comments.
func printIdentification(out io.Writer, id scaledrv.Identification, link string) {
	switch {
	case len(id.Candidates) == 0:
		return
	case id.Sure && !id.Candidates[0].DivisionSure:
		fmt.Fprintf(out, "      # Sure, after %.1f s, but for the division: see its line, or start again and put different loads on the pan.\n", id.Took.Seconds())
	case id.Sure:
		fmt.Fprintf(out, "      # Sure, after %.1f s.\n", id.Took.Seconds())
	default:
		fmt.Fprintf(out, "      # NOT SURE, after %.1f s. %s.\n", id.Took.Seconds(), id.Advice)
	}
	for i, c := range id.Candidates {
		entry := c.Entry(foundID, link)
		if i > 0 {
			fmt.Fprintln(out, "      # Or:")
			entry = commented(entry)
		}
		fmt.Fprint(out, commented(whatWasSeen(c)), entry)
	}
}

// commented makes every line of a text a comment of YAML.
func commented(text string) (b string) {
	for line := range strings.Lines(text) {
		b += "      # " + strings.TrimPrefix(line, "      ")
	}
	return b
}

// whatWasSeen is the evidence, in lines.
func whatWasSeen(c scaledrv.Candidate) string {
	text := fmt.Sprintf("%d whole lines, %d bytes of others", c.Lines, c.Rejected)
	if c.RateHz > 0 {
		text += fmt.Sprintf(", %.2g lines a second", c.RateHz)
	}
	if len(c.Raw) > 0 {
		text += fmt.Sprintf("; the newest: \"%s\"", scaledrv.EscapedBytes([]byte(c.Raw[len(c.Raw)-1])))
	}
	state := "Whether the scale is at rest is not in its lines."
	switch {
	case c.SeenStable && c.SeenMoving:
		state = "The lines say whether the scale is at rest; both were seen."
	case c.SeenStable:
		state = "The lines say when the scale is at rest; that it moves was not seen."
	case c.SeenMoving:
		state = "The lines say when the scale moves; that it is at rest was not seen."
	}
	return text + ".\n" + state + "\n"
}
