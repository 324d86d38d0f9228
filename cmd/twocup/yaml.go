package main

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"twocup/scaledrv/reading"
)

// fault is one thing wrong with a file.
type fault struct {
	line   int
	key    string
	detail string
}

type faults struct{ list []fault }

func (f *faults) sorted() []fault {
	slices.SortStableFunc(f.list, func(a, b fault) int { return cmp.Compare(a.line, b.line) })
	return f.list
}

// section is one mapping of a YAML file. What is asked for is ticked off, so that rest can name what nobody knows.
type section struct {
	faults *faults
	path   string // of the mapping, with a point behind; empty at the top
	line   int
	values map[string]ast.Node
	lines  map[string]int
	asked  map[string]bool
}

// parseFile reads a file of one mapping.
func parseFile(f *faults, data []byte) (*section, bool) {
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		line, detail := 1, err.Error()
		if e := yaml.Error(nil); errors.As(err, &e) {
			detail = e.GetMessage()
			if t := e.GetToken(); t != nil {
				line = t.Position.Line
			}
		}
		f.list = append(f.list, fault{line, "the file", "is no YAML: " + detail})
		return nil, false
	}
	if len(file.Docs) != 1 || file.Docs[0].Body == nil {
		f.list = append(f.list, fault{1, "the file", "must hold one configuration"})
		return nil, false
	}
	s := newSection(f, "", file.Docs[0].Body)
	return s, s != nil
}

func newSection(f *faults, path string, n ast.Node) *section {
	line := n.GetToken().Position.Line
	m, ok := n.(ast.MapNode)
	if !ok {
		f.list = append(f.list, fault{line, orFile(path), "must be a list of `key: value`"})
		return nil
	}
	s := &section{f, path, line, map[string]ast.Node{}, map[string]int{}, map[string]bool{}}
	for at := m.MapRange(); at.Next(); {
		key := at.Key().GetToken()
		if s.values[key.Value] != nil {
			f.list = append(f.list, fault{key.Position.Line, path + key.Value, "stands twice"})
		}
		s.values[key.Value], s.lines[key.Value] = at.Value(), key.Position.Line
	}
	return s
}

func orFile(path string) string {
	if path == "" {
		return "the file"
	}
	return path[:len(path)-1]
}

func (s *section) fault(key, detail string) {
	line, ok := s.lines[key]
	if !ok {
		line = s.line
	}
	name := s.path + key
	if key == "" {
		name = orFile(s.path)
	}
	s.faults.list = append(s.faults.list, fault{line, name, detail})
}

func (s *section) has(key string) bool { return s.values[key] != nil }

func (s *section) value(key string) ast.Node {
	s.asked[key] = true
	return s.values[key]
}

// notBuilt refuses keys of the contract that no code stands behind yet.
func (s *section) notBuilt(keys ...string) {
	for _, key := range keys {
		if s.value(key) != nil {
			s.fault(key, "is not built yet: leave it out")
		}
	}
}

// rest refuses what nobody has asked for.
func (s *section) rest() {
	for key := range s.values {
		if !s.asked[key] {
			s.fault(key, "is not a known key here")
		}
	}
}

// scalar is a value's text; false where it is missing, or is no plain value.
func (s *section) scalar(key string) (string, bool) {
	n := s.value(key)
	if n == nil {
		return "", false
	}
	switch n.(type) {
	case ast.MapNode, *ast.SequenceNode, *ast.NullNode, *ast.AliasNode, *ast.AnchorNode, *ast.TagNode:
		s.fault(key, "must be one plain value")
		return "", false
	}
	if text, ok := n.(*ast.LiteralNode); ok {
		return text.Value.Value, true
	}
	return n.GetToken().Value, true
}

func (s *section) text(key, fallback string, check func(string) error) string {
	text, ok := s.scalar(key)
	if !ok {
		return fallback
	}
	if check != nil {
		if err := check(text); err != nil {
			s.fault(key, err.Error())
		}
	}
	return text
}

func (s *section) required(key string) string {
	text := s.text(key, "", nil)
	if text == "" {
		s.fault(key, "is required")
	}
	return text
}

func (s *section) flag(key string, fallback bool) bool {
	text, ok := s.scalar(key)
	switch {
	case !ok:
		return fallback
	case text == "true" || text == "false":
		return text == "true"
	}
	s.fault(key, fmt.Sprintf("%q is neither true nor false", text))
	return fallback
}

func (s *section) duration(key string, fallback time.Duration) time.Duration {
	text, ok := s.scalar(key)
	if !ok {
		return fallback
	}
	d, err := time.ParseDuration(text)
	if err != nil || d <= 0 {
		s.fault(key, fmt.Sprintf("%q is not a time above 0, such as 1.5s", text))
		return fallback
	}
	return d
}

// mass is 0 where the key is missing; a mass below least is a fault.
func (s *section) mass(key string, least reading.Mass) reading.Mass {
	text, ok := s.scalar(key)
	if !ok {
		return 0
	}
	m, err := reading.ParseMass(text)
	switch {
	case err != nil:
		s.fault(key, err.Error())
	case m < least:
		s.fault(key, fmt.Sprintf("%s must be more than 0", text))
	}
	return m
}

func (s *section) section(key string) *section {
	n := s.value(key)
	if n == nil {
		return nil
	}
	return newSection(s.faults, s.path+key+".", n)
}

// sections is a list of mappings, at least one.
func (s *section) sections(key string) []*section {
	n, ok := s.value(key).(*ast.SequenceNode)
	if !ok || len(n.Values) == 0 {
		s.fault(key, "must be a list with at least one entry")
		return nil
	}
	var list []*section
	for i, item := range n.Values {
		if sub := newSection(s.faults, fmt.Sprintf("%s%s[%d].", s.path, key, i), item); sub != nil {
			list = append(list, sub)
		}
	}
	return list
}
