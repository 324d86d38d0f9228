package dashboard

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/stretchr/testify/require"
)

// galleryState is one state of gallery.json with its snapshot whole.
type galleryState struct {
	Name     string         `json:"name"`
	From     string         `json:"from"`
	Snapshot map[string]any `json:"snapshot"`
}

func (s galleryState) scale() map[string]any { return s.Snapshot["scale"].(map[string]any) }

// batch is nil where none is on the scale.
func (s galleryState) batch() map[string]any {
	b, _ := s.Snapshot["batch"].(map[string]any)
	return b
}

// laid is as in gallery.js: objects field by field, lists of one length item by item, everything else replaced.
func laid(base, over any) any {
	if list, ok := over.([]any); ok {
		under, ok := base.([]any)
		if !ok || len(under) != len(list) {
			return list
		}
		sum := make([]any, len(list))
		for i := range list {
			sum[i] = laid(under[i], list[i])
		}
		return sum
	}
	under, ok1 := base.(map[string]any)
	fields, ok2 := over.(map[string]any)
	if !ok1 || !ok2 {
		return over
	}
	sum := maps.Clone(under)
	for k, v := range fields {
		if was, ok := under[k]; ok {
			v = laid(was, v)
		}
		sum[k] = v
	}
	return sum
}

func gallery(t *testing.T) (list []galleryState) {
	data, err := os.ReadFile("static/gallery.json")
	require.NoError(t, err)
	var file struct{ States []galleryState }
	require.NoError(t, json.NewDecoder(bytes.NewReader(data)).Decode(&file))
	whole := map[string]map[string]any{}
	for _, s := range file.States {
		require.NotContains(t, whole, s.Name, "two states of one name")
		if s.From != "" {
			require.Contains(t, whole, s.From, "%s: its base stands above it", s.Name)
			s.Snapshot = laid(whole[s.From], s.Snapshot).(map[string]any)
		}
		whole[s.Name] = s.Snapshot
		list = append(list, s)
	}
	return list
}

// What the gallery draws is what a daemon may send.
func TestTheGalleryIsAsTheDescriptionSays(t *testing.T) {
	snapshot := readDescription(t).Components.Schemas["Snapshot"].Value
	for _, s := range gallery(t) {
		require.NoError(t, snapshot.VisitJSON(s.Snapshot, openapi3.MultiErrors()), s.Name)
	}
}

// What the description leaves open and the contract says in words.
func TestTheGalleryShowsOnlyWhatCanExist(t *testing.T) {
	for _, s := range gallery(t) {
		scale := s.scale()
		readable := scale["link"] == "up" && scale["state"] == "normal"
		require.Equal(t, !readable, scale["value_g"] == nil, "%s: value_g", s.Name)
		require.True(t, readable || scale["stable"] == false, "%s: stable", s.Name)
		b := s.batch()
		if b == nil {
			continue
		}
		onScale := slices.Contains([]string{"cup", "pour", "settle", "correct"}, b["phase"].(string))
		gone := scale["link"] == "silent" || scale["link"] == "down"
		require.Equal(t, onScale && gone, b["cue"] == "reconnect", "%s: reconnect", s.Name)
		require.Equal(t, b["question"] != nil, b["cue"] == "answer", "%s: answer", s.Name)
		inPart := slices.Contains([]string{"pour", "settle", "correct"}, b["phase"].(string))
		for _, field := range []string{"part", "band", "target_g", "low_g", "high_g", "poured_g", "remaining_g"} {
			require.Equal(t, inPart, b[field] != nil, "%s: %s", s.Name, field)
		}
		if !inPart {
			continue
		}
		target, poured, low, high := b["target_g"].(float64), b["poured_g"].(float64), b["low_g"].(float64), b["high_g"].(float64)
		require.InDelta(t, target-poured, b["remaining_g"], 1e-6, s.Name)
		require.True(t, low <= target && target <= high, "%s: the window is not around its target", s.Name)
		switch {
		case poured < low:
			require.Contains(t, []any{"below", "near"}, b["band"], s.Name)
		case poured > high:
			require.Equal(t, "above", b["band"], s.Name)
		default:
			require.Equal(t, "inside", b["band"], s.Name)
		}
		part := slices.IndexFunc(b["parts"].([]any), func(p any) bool { return p.(map[string]any)["part"] == b["part"] })
		require.NotEqual(t, -1, part, s.Name)
		require.Equal(t, poured, b["parts"].([]any)[part].(map[string]any)["poured_g"], "%s: poured of the part", s.Name)
		if value, ok := scale["value_g"].(float64); ok {
			var shown float64
			if n, _ := fmt.Sscanf(scale["shown"].(string), "%g g", &shown); n == 1 && strings.HasSuffix(scale["shown"].(string), " g") {
				require.InDelta(t, value, shown, 1e-9, s.Name)
			}
			require.LessOrEqual(t, math.Abs(value), 6000.0, s.Name)
		}
	}
}

// Nothing that the description names is left out, and on the scale no pair of phase, cue and band that a hand can reach.
func TestTheGalleryLeavesNothingOut(t *testing.T) {
	schemas := readDescription(t).Components.Schemas
	seen := map[string]bool{}
	combined := map[string]bool{}
	for _, s := range gallery(t) {
		scale, b := s.scale(), s.batch()
		seen["link "+scale["link"].(string)], seen["state "+scale["state"].(string)] = true, true
		if b == nil {
			continue
		}
		for _, field := range []string{"phase", "cue", "band", "verdict"} {
			seen[fmt.Sprint(field, " ", b[field])] = true
		}
		seen[fmt.Sprint("basis ", b["pot_life"].(map[string]any)["basis"])] = true
		for _, p := range b["parts"].([]any) {
			seen[fmt.Sprint("measured_by ", p.(map[string]any)["measured_by"])] = true
		}
		if q, ok := b["question"].(map[string]any); ok {
			seen[fmt.Sprint("choices ", q["choices"])] = true
		}
		combined[fmt.Sprint(b["phase"], " ", b["cue"], " ", b["band"])] = true
		if b["cue"] == "reconnect" {
			combined[fmt.Sprint(b["phase"], " ", scale["link"])] = true
		}
	}
	batch := schemas["Batch"].Value.Properties
	for name, values := range map[string][]any{
		"link": schemas["Link"].Value.Enum, "state": schemas["Scale"].Value.Properties["state"].Value.Enum,
		"phase": schemas["Phase"].Value.Enum, "cue": batch["cue"].Value.Enum, "band": batch["band"].Value.Enum, "verdict": batch["verdict"].Value.Enum,
		"basis":       batch["pot_life"].Value.Properties["basis"].Value.Enum,
		"measured_by": schemas["Part"].Value.Properties["measured_by"].Value.Enum,
	} {
		require.NotEmpty(t, values, name)
		for _, v := range values {
			require.True(t, seen[fmt.Sprint(name, " ", v)], "no state has %s %v", name, v)
		}
	}
	for _, choices := range []string{"lifted tared", "tared scrap", "to_a to_b", "same_cup scrap", "accept scrap", "poured put_in"} {
		require.True(t, seen["choices ["+choices+"]"], "no state asks %s", choices)
	}
	for phase, pairs := range map[string]string{
		"pour":    "pour below, pour near, ease near, ease inside, stop near, stop inside, stop above, change_over below, place below, place near, answer below, type below, type inside",
		"settle":  "hold below, hold near, hold inside, hold above, top_up below, top_up near, answer inside, answer above",
		"correct": "correct below, pour below, ease near, stop near, hold near, hold inside, hold above, top_up near, place below, answer below",
	} {
		for pair := range strings.SplitSeq(pairs, ", ") {
			require.True(t, combined[phase+" "+pair], "no state is %s %s", phase, pair)
		}
	}
	for _, phase := range []string{"cup", "pour", "settle", "correct"} {
		require.True(t, combined[phase+" silent"] && combined[phase+" down"], "%s without its scale", phase)
	}
}
