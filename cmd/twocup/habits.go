package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"

	"twocup/station/ledger"
)

type habitsCommand struct {
	List   habitsList   `cmd:"" help:"What is kept of how each person pours. It is personal data."`
	Forget habitsForget `cmd:"" help:"Removes all that is kept of how a person pours, for good. Backups keep what they have."`
}

type habitsList struct {
	cardStore
	JSON bool `name:"json" help:"As the API lists them."`
}

func (c habitsList) Run(ctx context.Context, s streams) error {
	list, err := c.read(ctx)
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(s.out, habitsAnswer{Habits: list})
	}
	return printHabits(s.out, list)
}

// habitsAnswer is the API's.
type habitsAnswer struct {
	Habits []ledger.Habit `json:"habits"`
	Next   *string        `json:"next"`
}

func (c habitsList) read(ctx context.Context) ([]ledger.Habit, error) {
	if c.URL != "" {
		answer, err := call[habitsAnswer](ctx, http.MethodGet, strings.TrimRight(c.URL, "/")+"/api/v1/habits", nil)
		return answer.Habits, err
	}
	r, err := ledger.OpenReader(c.Data)
	if err != nil {
		return nil, &failure{exitUnreachable, err}
	}
	defer r.Close()
	return r.Habits(ctx)
}

func printHabits(out io.Writer, list []ledger.Habit) error {
	t := columns(out)
	fmt.Fprint(t, "operator\tmaterial\tpart\tpours\tstop lag\n")
	for _, h := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%.2f s\n", h.Operator, h.Material, h.Part, h.Pours, h.StopLag)
	}
	return t.Flush()
}

type habitsForget struct {
	Name string `arg:"" help:"The operator, spelt as list shows it."`
	cardStore
}

func (c habitsForget) Run(ctx context.Context, s streams) error {
	if err := c.forget(ctx); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: forgotten\n", c.Name)
	return nil
}

func (c habitsForget) forget(ctx context.Context) error {
	if c.URL != "" {
		_, err := call[struct{}](ctx, http.MethodDelete, strings.TrimRight(c.URL, "/")+"/api/v1/habits?operator="+url.QueryEscape(c.Name), nil)
		return err
	}
	if _, err := os.Stat(c.Data); err != nil { // none is made of a misspelt name
		return unreachable("the data folder: %w", err)
	}
	l, err := ledger.Open(c.Data)
	if err != nil {
		return &failure{exitUnreachable, err}
	}
	return errors.Join(l.Forget(ctx, c.Name), l.Close())
}
