package material

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// ImportYAML reads a file of cards: one, a list of them, or several documents of either, each read as strictly as by
// Decode. The error is FileFaults, all of them at once.
func ImportYAML(data []byte) ([]Card, error) {
	text, faults := utf8Text(data)
	if faults != nil {
		return nil, faults
	}
	tokens := lexer.Tokenize(string(text))
	if line := emptyDocument(tokens); line > 0 {
		return nil, FileFaults{{Line: line, Field: "the file", Detail: "has a document with nothing in it above this line: take one of the two --- out"}}
	}
	if line := tooDeep(tokens); line > 0 {
		return nil, FileFaults{{Line: line, Field: "the file", Detail: fmt.Sprintf("nests deeper than %d: no card does", maxDepth)}}
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, FileFaults{notYAML(err)}
	}
	var entries []entry
	for _, doc := range file.Docs {
		switch body := doc.Body.(type) {
		case nil, *ast.NullNode, *ast.DirectiveNode: // nothing behind a last ---; %YAML 1.2
		case *ast.SequenceNode:
			for _, card := range body.Values {
				entries = append(entries, yamlEntry(card))
			}
		default:
			entries = append(entries, yamlEntry(body))
		}
	}
	return readAll(entries, nil)
}

// emptyDocument is the line of a --- that ends a document with nothing in it, 0 where there is none: the parser would
// drop, and not mention, all that follows.
func emptyDocument(tokens token.Tokens) (line int) {
	empty := false
	for _, t := range tokens {
		switch t.Type {
		case token.DocumentHeaderType:
			if empty {
				return t.Position.Line
			}
			empty = true
		case token.CommentType, token.DocumentEndType:
		default:
			empty = false
		}
	}
	return 0
}

// maxDepth is more than any card needs, and less than costs the parser its time.
const maxDepth = 50

// tooDeep is the line where brackets or list dashes nest deeper than maxDepth, 0 where none do.
func tooDeep(tokens token.Tokens) (line int) {
	brackets, dashes := 0, 0
	for _, t := range tokens {
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			brackets++
		case token.SequenceEndType, token.MappingEndType:
			brackets--
		case token.SequenceEntryType, token.MappingKeyType:
			dashes++
		default:
			dashes = 0
		}
		if max(brackets, dashes) > maxDepth {
			return t.Position.Line
		}
	}
	return 0
}

func notYAML(err error) FileFault {
	fault := FileFault{Line: 1, Field: "the file", Detail: "is no YAML: " + err.Error()}
	if e := yaml.Error(nil); errors.As(err, &e) {
		fault.Detail = "is no YAML: " + e.GetMessage()
		if t := e.GetToken(); t != nil {
			fault.Line = t.Position.Line
		}
	}
	return fault
}

func yamlEntry(n ast.Node) entry {
	e := entry{lines: map[string]int{}}
	e.addYAML("", n)
	return e
}

// addYAML appends a node as JSON. A number keeps its digits: what JSON can't write as a number goes on as text, and is
// refused where a number is due.
func (e *entry) addYAML(path string, n ast.Node) {
	if _, ok := e.lines[path]; !ok {
		e.lines[path] = n.GetToken().Position.Line
	}
	switch n := n.(type) {
	case ast.MapNode:
		e.addMapping(path, n)
	case *ast.SequenceNode:
		e.json = append(e.json, '[')
		for i, item := range n.Values {
			if i > 0 {
				e.json = append(e.json, ',')
			}
			e.addYAML(fmt.Sprintf("%s[%d]", path, i), item)
		}
		e.json = append(e.json, ']')
	case *ast.NullNode:
		e.json = append(e.json, "null"...)
	case *ast.BoolNode:
		e.json = fmt.Append(e.json, n.Value)
	case *ast.LiteralNode:
		e.json = append(e.json, quoted(n.Value.Value)...)
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.InfinityNode, *ast.NanNode:
		text := n.GetToken()
		if inQuotes := text.Type == token.SingleQuoteType || text.Type == token.DoubleQuoteType; inQuotes || !isNumber(text.Value) {
			e.json = append(e.json, quoted(text.Value)...)
		} else {
			e.json = append(e.json, text.Value...)
		}
	default:
		e.faults.add(path, "is an anchor, an alias or a tag, which cards don't use: write the value itself")
		e.json = append(e.json, "null"...)
	}
}

func (e *entry) addMapping(path string, n ast.MapNode) {
	e.json = append(e.json, '{')
	for first, at := true, n.MapRange(); at.Next(); first = false {
		if !first {
			e.json = append(e.json, ',')
		}
		key := at.Key().GetToken()
		name := strings.TrimPrefix(path+"."+key.Value, ".")
		e.lines[name] = key.Position.Line
		e.json = append(append(e.json, quoted(key.Value)...), ':')
		e.addYAML(name, at.Value())
	}
	e.json = append(e.json, '}')
}

// ExportYAML writes cards as documents of one file, in the order and form of the contract's card; ImportYAML reads them
// back equal. The error names a card whose numbers are none.
func ExportYAML(cards []Card) ([]byte, error) {
	var out []byte
	for i, card := range cards {
		data, err := json.Marshal(card)
		if err != nil {
			return nil, fmt.Errorf("export material %q: %w; correct the card first", card.ID, err)
		}
		if i > 0 {
			out = append(out, "---\n"...)
		}
		for name, value := range members(data) {
			out = fmt.Appendf(out, "%s:", name)
			if value[0] == '[' {
				for _, item := range items(value) {
					out = append(append(out, "\n  - "...), inLine(item)...)
				}
			} else {
				out = append(append(out, ' '), inLine(value)...)
			}
			out = append(out, '\n')
		}
	}
	return out, nil
}

// bare are texts that no reader of YAML takes for anything else.
var (
	bare     = regexp.MustCompile(`^([A-Za-z][A-Za-z0-9_.()-]*( [A-Za-z0-9_.()-]+)*|[0-9]+(\.[0-9]+)?[hms])$`)
	reserved = regexp.MustCompile(`(?i)^(null|true|false|yes|no|on|off|y|n|nan|inf)$`)
)

// inLine writes JSON as YAML on one line.
func inLine(value json.RawMessage) string {
	var parts []string
	switch value[0] {
	case '{':
		for name, member := range members(value) {
			parts = append(parts, name+": "+inLine(member))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case '[':
		for _, item := range items(value) {
			parts = append(parts, inLine(item))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case '"':
		var text string
		json.Unmarshal(value, &text)
		if bare.MatchString(text) && !reserved.MatchString(text) {
			return text
		}
		return quoted(text)
	}
	return string(value)
}
