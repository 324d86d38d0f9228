package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"twocup/station"
	"twocup/station/ledger"
)

type recordsCommand struct {
	List   recordsList   `cmd:"" help:"The batches, newest first."`
	Show   recordsShow   `cmd:"" help:"One batch whole."`
	Export recordsExport `cmd:"" help:"Every batch on the output, as CSV or JSON Lines."`
	Verify recordsVerify `cmd:"" help:"Looks for events that were changed, taken out, put in or moved."`
	Backup recordsBackup `cmd:"" help:"Copies the records to a new file, also while a daemon runs."`
}

// folder is a data folder, read beside the daemon that holds it or without one. Nothing is ever written there.
type folder struct {
	Data   string `placeholder:"DIR" xor:"folder" required:"" help:"The data folder."`
	Config string `placeholder:"FILE" xor:"folder" required:"" help:"A configuration, whose data folder is meant."`
}

func (f folder) read(s streams, do func(*ledger.Reader) error) error {
	dir := f.Data
	if f.Config != "" {
		cfg, err := loadConfig(f.Config, s)
		if err != nil {
			return err
		}
		dir = cfg.data
	}
	r, err := ledger.OpenReader(dir)
	if err != nil {
		return &failure{exitUnreachable, err}
	}
	return errors.Join(do(r), r.Close())
}

// filter says which batches are wanted.
type filter struct {
	From     time.Time `placeholder:"TIME" help:"Created at or after, RFC 3339."`
	To       time.Time `placeholder:"TIME" help:"Created before, RFC 3339."`
	Material string    `placeholder:"ID" help:"Of this material."`
	Verdict  string    `enum:"within,unproven,outside," default:"" placeholder:"VERDICT" help:"With this verdict: within, unproven or outside."`
}

func (f filter) query() ledger.Query {
	return ledger.Query{From: f.From, To: f.To, Material: f.Material, Verdict: f.Verdict}
}

type recordsList struct {
	folder
	filter
	Cursor string `placeholder:"CURSOR" help:"Goes on after the page that ended with it."`
	Limit  int    `default:"50" help:"Batches of one page."`
	JSON   bool   `name:"json" help:"As the API lists them."`
}

func (c recordsList) Run(ctx context.Context, s streams) error {
	if c.Limit < 1 {
		return &failure{exitUsage, fmt.Errorf("--limit: is %d, must be 1 or more", c.Limit)}
	}
	return c.read(s, func(r *ledger.Reader) error {
		q := c.query()
		q.Cursor, q.Limit = c.Cursor, c.Limit
		list, next, err := r.Summaries(ctx, q)
		if errors.Is(err, ledger.ErrNotFound) {
			return &failure{exitUsage, fmt.Errorf("--cursor: %w", err)}
		} else if err != nil {
			return err
		}
		if c.JSON {
			return c.printJSON(ctx, s.out, r, list, next)
		}
		return printList(s.out, list, next)
	})
}

func (c recordsList) printJSON(ctx context.Context, out io.Writer, r *ledger.Reader, list []ledger.Summary, next string) error {
	answer := struct {
		Batches []station.Record `json:"batches"`
		Next    *string          `json:"next"`
	}{Batches: []station.Record{}}
	if next != "" {
		answer.Next = &next
	}
	for _, summary := range list {
		record, err := station.ReadRecord(ctx, r, summary.ID)
		if err != nil {
			return err
		}
		answer.Batches = append(answer.Batches, record)
	}
	return printJSON(out, answer)
}

func printList(out io.Writer, list []ledger.Summary, next string) error {
	t := columns(out)
	fmt.Fprint(t, "batch\tcreated\tstation\tmaterial\tphase\tverdict\terror\tA\tB\n")
	for _, b := range list {
		verdict, deviation := "-", "-"
		if b.Verdict != nil {
			verdict = *b.Verdict
		}
		if b.Error != nil {
			deviation = fmt.Sprintf("%+.2f %%", *b.Error)
		}
		poured := map[string]string{"A": "-", "B": "-"}
		for _, p := range b.Parts {
			if p.Accepted {
				poured[p.Part] = p.Poured.String()
			}
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", b.ID, b.Created.Format(time.DateTime), b.Station, b.Material, b.Phase, verdict, deviation, poured["A"], poured["B"])
	}
	if next != "" {
		fmt.Fprintf(t, "\nthe next page: --cursor %s\n", next)
	}
	return t.Flush()
}

type recordsShow struct {
	ID string `arg:"" help:"The batch."`
	folder
	JSON bool `name:"json" help:"As the API gives it."`
}

func (c recordsShow) Run(ctx context.Context, s streams) error {
	return c.read(s, func(r *ledger.Reader) error {
		record, err := station.ReadRecord(ctx, r, c.ID)
		if errors.Is(err, ledger.ErrNotFound) {
			return &failure{exitFault, err}
		} else if err != nil {
			return err
		}
		if c.JSON {
			return printJSON(s.out, record)
		}
		return printRecord(s.out, record)
	})
}

func printRecord(out io.Writer, r station.Record) error {
	t := columns(out)
	line := func(what string, value any) { fmt.Fprintf(t, "%s\t%v\n", what, value) }
	line("batch", r.ID)
	line("material", fmt.Sprintf("%s, revision %d", r.Material, r.Plan.Revision))
	line("station", r.Station)
	line("operator", r.Operator)
	line("created", r.Created.Format(time.RFC3339))
	line("phase", r.Phase)
	if r.Verdict != nil {
		line("verdict", fmt.Sprintf("%s: error %v %%, uncertainty %v %%", *r.Verdict, *r.Error, *r.U))
	}
	if r.Index != nil {
		line("index", fmt.Sprintf("%.1f", *r.Index))
	}
	if r.Doubt != nil {
		line("doubt", *r.Doubt)
	}
	for part, lots := range r.Lots {
		line("lots of "+part, lots)
	}
	for _, p := range r.Parts {
		line("part "+p.Part.Part, fmt.Sprintf("%s of %s (%s to %s)", p.Poured, p.Target, p.Low, p.High))
	}
	for _, e := range r.Events {
		line(e.At.Format("15:04:05.000"), fmt.Sprintf("%s, event %d", e.Kind, e.Seq))
	}
	return t.Flush()
}

type recordsExport struct {
	folder
	filter
	JSON bool `name:"json" help:"JSON Lines in place of CSV."`
}

func (c recordsExport) Run(ctx context.Context, s streams) error {
	return c.read(s, func(r *ledger.Reader) error {
		export := station.ExportCSV
		if c.JSON {
			export = station.ExportLines
		}
		out := bufio.NewWriter(s.out)
		if err := export(ctx, out, r, c.query()); err != nil {
			return err
		}
		head, err := r.Head(ctx)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.log, "head %s (keep it elsewhere: records verify --head holds the ledger against it)\n", head)
		return out.Flush()
	})
}

type recordsVerify struct {
	folder
	Head *string `placeholder:"SEQ:HASH" help:"One kept elsewhere, as export or verify printed it."`
	JSON bool    `name:"json" help:"The report as JSON."`
}

func (c recordsVerify) Run(ctx context.Context, s streams) error {
	return c.read(s, func(r *ledger.Reader) error {
		kept := ""
		if c.Head != nil {
			if kept = *c.Head; kept == "" {
				return &failure{exitUsage, errors.New("--head: is empty, so there is nothing to hold the ledger against")}
			}
		}
		report, err := r.Verify(ctx, kept)
		if errors.Is(err, ledger.ErrHead) {
			return &failure{exitUsage, fmt.Errorf("--%w", err)}
		} else if err != nil {
			return err
		}
		if c.JSON {
			err = printJSON(s.out, report)
		} else {
			err = printReport(s.out, report)
		}
		if !report.Whole() {
			return &failure{code: exitFault}
		}
		return err
	})
}

func printReport(out io.Writer, r ledger.Report) error {
	for _, f := range r.Findings {
		fmt.Fprintln(out, f)
	}
	if r.More > 0 {
		fmt.Fprintf(out, "and %d more\n", r.More)
	}
	word := "whole"
	if !r.Whole() {
		word = "not whole"
	}
	_, err := fmt.Fprintf(out, "%s: %d events of %d batches, head %s\n", word, r.Events, r.Batches, r.Head)
	return err
}

type recordsBackup struct {
	File string `arg:"" help:"Made new, never over another."`
	folder
}

func (c recordsBackup) Run(ctx context.Context, s streams) error {
	return c.read(s, func(r *ledger.Reader) error {
		if err := r.Backup(ctx, c.File); err != nil {
			return &failure{exitUnreachable, err}
		}
		fmt.Fprintf(s.out, "copied to %s (the README says how to restore it)\n", c.File)
		return nil
	})
}
