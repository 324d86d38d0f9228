package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"twocup/station/ledger"
	"twocup/station/material"
)

type materialsCommand struct {
	Import materialsImport `cmd:"" help:"Adds the cards of a file; a card whose id is there already becomes its next revision."`
	Export materialsExport `cmd:"" help:"Writes the newest revision of every card to a file."`
}

// cardStore is where the cards are: a data folder that no daemon holds, or a daemon.
type cardStore struct {
	Data string `placeholder:"DIR" xor:"store" required:"" help:"A data folder, while no daemon holds it."`
	URL  string `name:"url" placeholder:"URL" xor:"store" required:"" help:"A running daemon, such as http://127.0.0.1:8280."`
}

type materialsImport struct {
	File string `arg:"" help:"Cards as .yaml, .yml or .csv."`
	cardStore
}

type materialsExport struct {
	File string `arg:"" help:"Written as .yaml, .yml or .csv by its name, never over another."`
	cardStore
}

// cards is a shop's cards, wherever they are kept.
type cards interface {
	all(ctx context.Context) ([]material.Stored, error)
	add(ctx context.Context, card material.Card) (material.Stored, error)
	revise(ctx context.Context, card material.Card) (material.Stored, error)
	close()
}

func (c materialsImport) Run(ctx context.Context, s streams) error {
	read, err := readCards(c.File, s)
	if err != nil {
		return err
	}
	store, err := c.open()
	if err != nil {
		return err
	}
	defer store.close()
	there, err := store.all(ctx)
	if err != nil {
		return fmt.Errorf("read the cards that are there: %w", err)
	}
	for _, card := range read {
		if err := importCard(ctx, store, there, card, s.out); err != nil {
			return fmt.Errorf("import %s: %w", card.ID, err)
		}
	}
	return nil
}

func importCard(ctx context.Context, store cards, there []material.Stored, card material.Card, out io.Writer) error {
	at := slices.IndexFunc(there, func(s material.Stored) bool { return s.ID == card.ID })
	if at < 0 {
		_, err := store.add(ctx, card)
		if err == nil {
			fmt.Fprintf(out, "%s: added\n", card.ID)
		}
		return err
	}
	if same, err := alike(there[at].Card, card); err != nil {
		return err
	} else if same {
		fmt.Fprintf(out, "%s: unchanged, revision %d\n", card.ID, there[at].Revision)
		return nil
	}
	stored, err := store.revise(ctx, card)
	if err == nil {
		fmt.Fprintf(out, "%s: revision %d\n", card.ID, stored.Revision)
	}
	return err
}

// alike says whether two cards are the same once they are kept: an empty list is none.
func alike(a, b material.Card) (bool, error) {
	kept, err := json.Marshal(a)
	if err != nil {
		return false, err
	}
	read, err := json.Marshal(b)
	return bytes.Equal(kept, read), err
}

func (c materialsExport) Run(ctx context.Context, s streams) error {
	export, err := exporter(c.File)
	if err != nil {
		return err
	}
	stored, err := c.read(ctx)
	if err != nil {
		return err
	}
	list := make([]material.Card, len(stored))
	for i, s := range stored {
		list[i] = s.Card
	}
	text, err := export(list)
	if err != nil {
		return err
	}
	if err := writeNew(c.File, text); err != nil {
		return &failure{exitUnreachable, err}
	}
	fmt.Fprintf(s.out, "%d cards written to %s\n", len(list), c.File)
	return nil
}

// read is all cards as they are stored. A folder is only read, so that none is made of a misspelt name.
func (c materialsExport) read(ctx context.Context) (stored []material.Stored, err error) {
	if c.URL != "" {
		return remoteCards{strings.TrimRight(c.URL, "/")}.all(ctx)
	}
	r, err := ledger.OpenReader(c.Data)
	if err != nil {
		return nil, &failure{exitUnreachable, err}
	}
	defer r.Close()
	return r.Materials(ctx)
}

// writeNew writes a file that is not there yet.
func writeNew(name string, text []byte) error {
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("write %q: it is there already (move it away, or name another)", name)
	} else if err != nil {
		return fmt.Errorf("write the file: %w", err)
	}
	_, err = file.Write(text)
	return errors.Join(err, file.Close())
}

func exporter(name string) (func([]material.Card) ([]byte, error), error) {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".yaml", ".yml":
		return material.ExportYAML, nil
	case ".csv":
		return material.ExportCSV, nil
	}
	return nil, badFormat(name)
}

func importer(name string) (func([]byte) ([]material.Card, error), error) {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".yaml", ".yml":
		return material.ImportYAML, nil
	case ".csv":
		return material.ImportCSV, nil
	}
	return nil, badFormat(name)
}

func badFormat(name string) error {
	return &failure{exitUsage, fmt.Errorf("%q: cards are kept in files that end in .yaml, .yml or .csv", name)}
}

// readCards reads a file of cards. Its faults are results: each is one line on the output.
func readCards(name string, s streams) ([]material.Card, error) {
	read, err := importer(name)
	if err != nil {
		return nil, err
	}
	data, err := readFile(name, "the cards")
	if err != nil {
		return nil, err
	}
	list, err := read(data)
	if faults := (material.FileFaults)(nil); errors.As(err, &faults) {
		for _, f := range faults {
			fmt.Fprintf(s.out, "%s:%d: %s: %s\n", name, f.Line, f.Field, f.Detail)
		}
		return nil, &failure{code: exitFault}
	}
	return list, err
}

func (c cardStore) open() (cards, error) {
	if c.URL != "" {
		return remoteCards{strings.TrimRight(c.URL, "/")}, nil
	}
	l, err := ledger.Open(c.Data)
	if err != nil {
		return nil, &failure{exitUnreachable, err}
	}
	return folderCards{l}, nil
}

// folderCards are those of a data folder that this program holds meanwhile.
type folderCards struct{ ledger *ledger.Ledger }

func (f folderCards) all(ctx context.Context) ([]material.Stored, error) {
	return f.ledger.Materials(ctx)
}

func (f folderCards) add(ctx context.Context, card material.Card) (material.Stored, error) {
	return f.ledger.AddMaterial(ctx, card, time.Now())
}

func (f folderCards) revise(ctx context.Context, card material.Card) (material.Stored, error) {
	return f.ledger.ReviseMaterial(ctx, card, time.Now())
}

func (f folderCards) close() { f.ledger.Close() }

// remoteCards are those of a daemon.
type remoteCards struct{ url string }

func (r remoteCards) close() {}

func (r remoteCards) all(ctx context.Context) ([]material.Stored, error) {
	answer, err := call[struct {
		Materials []json.RawMessage `json:"materials"`
	}](ctx, http.MethodGet, r.url+"/api/v1/materials", nil)
	if err != nil {
		return nil, err
	}
	list := make([]material.Stored, len(answer.Materials))
	for i, m := range answer.Materials {
		if err := json.Unmarshal(m, &list[i]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

func (r remoteCards) add(ctx context.Context, card material.Card) (material.Stored, error) {
	return call[material.Stored](ctx, http.MethodPost, r.url+"/api/v1/materials", card)
}

func (r remoteCards) revise(ctx context.Context, card material.Card) (material.Stored, error) {
	return call[material.Stored](ctx, http.MethodPut, r.url+"/api/v1/materials/"+url.PathEscape(card.ID), card)
}

// call asks a daemon and reads its answer; what it refuses is the error, in its words.
func call[T any](ctx context.Context, method, address string, send any) (answer T, err error) {
	var body bytes.Buffer
	if send != nil {
		if err := json.NewEncoder(&body).Encode(send); err != nil {
			return answer, err
		}
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, method, address, &body)
	if err != nil {
		return answer, err
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return answer, unreachable("%w (is a daemon running there?)", err)
	}
	defer response.Body.Close()
	if response.StatusCode == http.StatusNoContent {
		return answer, nil
	}
	if response.StatusCode >= 300 {
		var problem struct{ Detail string }
		_ = json.NewDecoder(response.Body).Decode(&problem) // the status alone says enough
		return answer, fmt.Errorf("%s answers %s: %s", address, response.Status, problem.Detail)
	}
	return answer, json.NewDecoder(response.Body).Decode(&answer)
}
