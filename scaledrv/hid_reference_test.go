package scaledrv

import (
	"encoding/json"
	"fmt"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// hidReference is testdata/hid/hid-scales.json; its README says where the figures are from.
type hidReference struct {
	Descriptors map[string]struct {
		Bytes      hexBytes
		Length     int
		ReportBits map[string]int `json:"report_bits"`
		Fields     []struct {
			Report, Usage string
			ID            uint8
			Bit, Size     int
			Signed, Array bool
			FirstCode     *int64 `json:"first_code"`
			Usages        []string
		}
	}
	BadDescriptors map[string]struct{ Bytes hexBytes } `json:"bad_descriptors"`
	Usages         []struct{ Usage, Name string }
	Units          []struct {
		Usage, Unit string
		Grams       *string
	}
	Status []struct {
		Usage, State string
		Stable       *bool
	}
	Reports []struct {
		Name, Descriptor, Why string
		Bytes                 hexBytes
		Unit, Shown, State    *string
		Stable                *bool
		Usable                bool    `json:"usable_weight"`
		ValueG                *string `json:"value_g"`
	}
	BadReports []struct {
		Name, Descriptor, Error string
		Bytes                   hexBytes
	} `json:"bad_reports"`
}

type hexBytes []byte

func (b *hexBytes) UnmarshalText(text []byte) (err error) {
	for digits := range strings.FieldsSeq(string(text)) {
		c, err := strconv.ParseUint(digits, 16, 8)
		if err != nil {
			return err
		}
		*b = append(*b, byte(c))
	}
	return nil
}

func readHIDReference(t testing.TB) (r hidReference) {
	text, err := os.ReadFile("testdata/hid/hid-scales.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &r))
	return r
}

func (r hidReference) scale(t testing.TB, name string) *hidScale {
	d, err := parseHID(r.Descriptors[name].Bytes)
	require.NoError(t, err)
	s, err := newHIDScale(d, reading.UnitNone)
	require.NoError(t, err)
	return s
}

var hidKinds = map[string]hidKind{"input": hidInput, "output": hidOutput, "feature": hidFeature}

func TestDescriptorsAreReadAsTheReferenceHasThem(t *testing.T) {
	ref := readHIDReference(t)
	require.Len(t, ref.Descriptors, 4)
	names := map[uint32]string{}
	for _, u := range ref.Usages {
		names[scalesPage<<16|hexNumber(t, u.Usage)] = u.Name
	}
	for name, want := range ref.Descriptors {
		t.Run(name, func(t *testing.T) {
			require.Len(t, want.Bytes, want.Length)
			d, err := parseHID(want.Bytes)
			require.NoError(t, err)
			require.True(t, d.scale)
			bits := map[string]int{}
			for r, n := range d.bits {
				for kind, k := range hidKinds {
					if k == r.kind {
						bits[fmt.Sprintf("%s:%d", kind, r.id)] = n
					}
				}
				require.Equal(t, r.id != 0, d.numbered)
			}
			require.Equal(t, want.ReportBits, bits)

			type element struct {
				report        hidReport
				usage         string
				bit, size     int
				signed, array bool
				first         int64
				usages        string
			}
			var wanted, got []element
			for _, f := range want.Fields {
				if f.Usage == "padding" {
					continue // it shows in the bits of what follows, and in the report's
				}
				e := element{hidReport{hidKinds[f.Report], f.ID}, f.Usage, f.Bit, f.Size, f.Signed, f.Array, 0, ""}
				if f.Array {
					e.first, e.usages = *f.FirstCode, strings.Join(f.Usages, " ")
					e.usage = "" // the reference has the collection's
				}
				wanted = append(wanted, e)
			}
			for _, f := range d.fields {
				for i := range f.count {
					e := element{f.report, names[f.usage(int64(i))], f.bit + i*f.size, f.size, f.min < 0, f.array, 0, ""}
					if f.array {
						e.first, e.usage = f.min, ""
						var usages []string
						for i := int64(0); f.usage(i) != 0; i++ {
							usages = append(usages, fmt.Sprintf("0x%X", f.usage(i)&0xFFFF))
						}
						e.usages = strings.Join(usages, " ")
					}
					got = append(got, e)
				}
			}
			require.Equal(t, wanted, got)
		})
	}
}

func hexNumber(t *testing.T, text string) uint32 {
	n, err := strconv.ParseUint(text, 0, 32)
	require.NoError(t, err)
	return uint32(n)
}

func TestBadDescriptorsAreRefusedWithTheReason(t *testing.T) {
	ref := readHIDReference(t)
	wants := map[string]string{
		"truncated_item":         "offset 10: item needs 4 data bytes, 2 are left",
		"open_collection":        "offset 4: collection is never closed",
		"surplus_end":            "offset 19: End Collection without an open collection",
		"huge_count":             "offset 21: Report Count 4294967295 x Report Size 32 bits: a report has at most 8192 bits",
		"huge_size":              "offset 21: Report Size 2147483647 bits: fields wider than 32 bits are refused",
		"zero_size":              "offset 18: Report Size 0",
		"report_id_zero":         "offset 6: Report ID 0 is none of 1 to 255",
		"usage_range_reversed":   "offset 12: Usage Minimum 0x5C above Usage Maximum 0x51",
		"logical_range_reversed": "offset 16: Logical Minimum 5 above Logical Maximum 2",
		"range_flood":            "its descriptor has no Data Weight (usage 0x40) in a report that the scale sends by itself",
		"pop_without_push":       "offset 2: Pop without Push",
		"long_item_past_end":     "offset 2: long item says 240 data bytes, 2 are left",
		"deep_nesting":           "offset 66: collection: more than 32 in each other",
		"no_scale_page":          "this is no scale: its descriptor has no application of the Scales page (0x8D)",
		"no_weight":              "its descriptor has no Data Weight (usage 0x40) in a report that the scale sends by itself",
	}
	require.Len(t, ref.BadDescriptors, len(wants))
	for name, bad := range ref.BadDescriptors {
		t.Run(name, func(t *testing.T) {
			d, err := parseHID(bad.Bytes)
			if err == nil {
				_, err = newHIDScale(d, reading.UnitG)
			}
			require.EqualError(t, err, wants[name])
		})
	}
}

// What the reference calls a usable weight without a value in grams is in a unit without one factor: that is refused here.
func TestReportsSayWhatTheReferenceSays(t *testing.T) {
	ref := readHIDReference(t)
	require.Len(t, ref.Reports, 30)
	rejected := map[string]string{
		"tael-regional":       "unit with usage 0x55: tael and avoirdupois ton differ from place to place: set the scale to another unit",
		"ton-unsaid":          "unit with usage 0x59: tael and avoirdupois ton differ from place to place: set the scale to another unit",
		"status-out-of-range": "no status: its code is outside the logical range",
		"unit-zero":           "0 units: a code outside the logical range is none",
		"exponent-minus-127":  "scaling 10^-127: beyond 10^±9",
	}
	for _, want := range ref.Reports {
		t.Run(want.Name, func(t *testing.T) {
			var got reading.Reading
			err := ref.scale(t, want.Descriptor).read(want.Bytes, &got)
			expected := "rejected: " + rejected[want.Name]
			if rejected[want.Name] == "" {
				expected = *want.State
				if want.Usable {
					expected = *want.Shown + " " + strings.Replace(*want.Unit, "gr", "gn", 1) // our word for the grain
				}
				if want.Stable != nil {
					expected += map[bool]string{true: " stable", false: " moving"}[*want.Stable]
				}
			}
			t.Logf("| %s | %s | %s |", want.Name, expected, describe(parsed{Reading: got}, err))
			require.Equal(t, expected, describe(parsed{Reading: got}, err), want.Why)
			if want.ValueG != nil {
				grams, ok := new(big.Rat).SetString(*want.ValueG)
				require.True(t, ok)
				require.Equal(t, new(big.Rat).Mul(grams, big.NewRat(int64(reading.Gram), 1)).RatString(), big.NewRat(int64(got.Mass), 1).RatString())
			}
		})
	}
}

func TestBadReportsAreTakenAsTheReferenceSays(t *testing.T) {
	ref := readHIDReference(t)
	wants := map[string]string{
		"short-report": "rejected: 3 bytes behind the report id, 40 bits by the descriptor",
		"long-report":  "152.2 g stable",
		"unknown-id":   "rejected: report id 9 is not in the descriptor",
		"empty":        "rejected: an empty report",
	}
	require.Len(t, ref.BadReports, len(wants))
	for _, bad := range ref.BadReports {
		t.Run(bad.Name, func(t *testing.T) {
			var got reading.Reading
			err := ref.scale(t, bad.Descriptor).read(bad.Bytes, &got)
			require.Equal(t, wants[bad.Name], describe(parsed{Reading: got}, err), bad.Error)
		})
	}
}

// With Logical Minimum 1 the codes on the wire are those of the reference's tables.
func TestEveryUnitAndEveryStatusIsTheReferences(t *testing.T) {
	ref := readHIDReference(t)
	s := ref.scale(t, "plain")
	require.Len(t, ref.Units, 12)
	for _, u := range ref.Units {
		var got reading.Reading
		err := s.read([]byte{3, 4, byte(hexNumber(t, u.Usage) - 0x50), 0, 7, 0}, &got)
		if u.Grams == nil {
			require.ErrorContains(t, err, "differ from place to place", u.Unit)
			continue
		}
		require.NoError(t, err)
		grams, _ := new(big.Rat).SetString(*u.Grams)
		require.Equal(t, grams.Mul(grams, big.NewRat(7*int64(reading.Gram), 1)).RatString(), big.NewRat(int64(got.Mass), 1).RatString(), u.Unit)
		require.Equal(t, reading.Value{Digits: 7, Unit: got.Value.Unit}, got.Value)
	}
	require.Len(t, ref.Status, 8)
	for _, status := range ref.Status {
		var got reading.Reading
		require.NoError(t, s.read([]byte{3, byte(hexNumber(t, status.Usage) - 0x70), 2, 0, 7, 0}, &got))
		require.Equal(t, status.State, got.State.String())
		motion := reading.MotionUnknown
		if status.Stable != nil {
			motion = map[bool]reading.Motion{true: reading.Stable, false: reading.Moving}[*status.Stable]
		}
		require.Equal(t, motion, got.Motion, status.Usage)
	}
}
