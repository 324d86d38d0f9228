package scaledrv

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

// Pieces of descriptors, written by hand from HID 1.11, 6.2.2, and the usages of the reference.
const (
	hidBegin   = "05 8D 09 01 A1 01 09 20 A1 02 "
	hidEnd     = " C0 C0"
	hidUnitAry = " 09 50 A1 02 19 51 29 5C 15 01 25 0C 75 08 95 01 81 00 C0"
	hidStatus  = " 09 70 A1 02 19 71 29 78 15 01 25 08 75 08 95 01 81 00 C0"
	hidScaling = " 09 41 15 81 25 7F 75 08 95 01 81 02"
	hidWeight  = " 09 40 15 00 27 FF FF 00 00 75 10 95 01 81 02"
)

func hexOf(t testing.TB, digits string) (b hexBytes) {
	require.NoError(t, b.UnmarshalText([]byte(digits)))
	return b
}

func hidScaleOf(t testing.TB, descriptor string, unit reading.Unit) (*hidScale, error) {
	d, err := parseHID(hexOf(t, descriptor))
	require.NoError(t, err)
	return newHIDScale(d, unit)
}

func TestReportsWithDifferentIDs(t *testing.T) {
	const data, limit = hidUnitAry + hidScaling + hidWeight, " 85 05 09 34 A1 02" + hidUnitAry + hidScaling + hidWeight + " C0"
	apart := hidBegin + "85 03 09 32 A1 02" + data + " C0 85 04 09 33 A1 02" + hidStatus + " C0" + limit + hidEnd
	both := hidBegin + "85 03 09 32 A1 02" + hidStatus + data + " C0 85 04 09 33 A1 02" + hidStatus + " C0" + hidEnd
	type sent struct{ report, want string }
	const weight, other, tooShort = "03 02 FF F2 05", "03 0B FF 34 19", "rejected: 0 bytes behind the report id, 8 bits by the descriptor"
	for _, tt := range []struct {
		name, descriptor string
		sent             []sent
	}{
		{"a weight before the first status may be below zero: it is none", apart, []sent{{weight, "no reading"}}},
		{"a status holds until the next", apart, []sent{
			{"04 04", "no reading"}, {weight, "152.2 g stable"}, {other, "645.2 oz stable"}, {"04 03", "no reading"}, {weight, "152.2 g moving"}}},
		{"a status out of range is told at once, and holds", apart, []sent{
			{"04 04", "no reading"}, {"04 05", "under"}, {weight, "under"}, {"04 06", "over"}, {weight, "over"}, {"04 01", "fault"}, {weight, "fault"}, {"04 02", "no reading"}, {weight, "152.2 g stable"}}},
		{"a status that can't be read ends the one before", apart, []sent{
			{"04 04", "no reading"}, {"04 09", "rejected: no status: its code is outside the logical range"}, {weight, "no reading"}}},
		{"so does one that is cut", apart, []sent{{"04 04", "no reading"}, {"04", tooShort}, {weight, "no reading"}}},
		{"the weight limit is not the load, and its unit not the load's", apart, []sent{
			{"04 04", "no reading"}, {"05 0C 00 0D 00", "no reading"}, {weight, "152.2 g stable"}}},
		{"a weight with its own status has no other", both, []sent{
			{"04 05", "under"}, {"03 04 02 FF F2 05", "152.2 g stable"}, {"03 05 02 FF F2 05", "under"}, {"04 04", "no reading"}, {"03 03 02 FF F2 05", "152.2 g moving"}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s, err := hidScaleOf(t, tt.descriptor, reading.UnitNone)
			require.NoError(t, err)
			for _, sent := range tt.sent {
				var got reading.Reading
				err := s.read(hexOf(t, sent.report), &got)
				require.Equal(t, sent.want, describe(parsed{Reading: got}, err), sent.report)
			}
		})
	}
}

func TestDescriptorsInOtherForms(t *testing.T) {
	const flags = " 15 00 25 01 75 01"
	for _, tt := range []struct {
		name, descriptor string
		unit             reading.Unit
		report, want     string
	}{
		{"a unit of the entry where the descriptor has none", hidBegin + hidStatus + hidScaling + hidWeight + hidEnd, reading.UnitKG, "04 FD 87 13", "4.999 kg stable"},
		{"no unit at all", hidBegin + hidStatus + hidScaling + hidWeight + hidEnd, reading.UnitNone, "04 FD 87 13", "rejected: " + errNoUnit.Error()},
		{"the unit of the entry is not taken where the report's is none", hidBegin + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitG,
			"00 FF F2 05", "rejected: 0 units: a code outside the logical range is none"},
		{"no status", hidBegin + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitNone, "02 FF F2 05", "152.2 g"},
		{"usages with their page", "06 01 FF 0B 01 00 8D 00 A1 01 1B 51 00 8D 00 2B 5C 00 8D 00 15 01 25 0C 75 08 95 01 81 00 0B 41 00 8D 00 15 81 25 7F 81 02 " +
			"0B 40 00 8D 00 15 00 26 FF 7F 75 10 81 02 C0", reading.UnitNone, "02 FF F2 05", "152.2 g"},
		{"the page of the main item holds, also for usages before it", "05 01 09 01 05 8D A1 01" + hidUnitAry + hidScaling + hidWeight + " C0", reading.UnitNone, "02 FF F2 05", "152.2 g"},
		{"the maximum of a range before its minimum", "05 8D 09 01 A1 01 29 5C 19 51 15 01 25 0C 75 08 95 01 81 00" + hidScaling + hidWeight + " C0", reading.UnitNone, "02 FF F2 05", "152.2 g"},
		{"units and statuses as flags", hidBegin + "19 51 29 5C 95 0C" + flags + " 81 02 95 04 81 03 19 71 29 78 95 08 81 02" + hidScaling + hidWeight + hidEnd, reading.UnitNone,
			"02 00 08 FF F2 05", "152.2 g stable"},
		{"of several statuses the one that lets less through", hidBegin + "19 71 29 78 95 08" + flags + " 81 02" + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitNone,
			"0C 02 FF F2 05", "152.2 g moving"},
		{"two units at once", hidBegin + "19 51 29 5C 95 0C" + flags + " 81 02 95 04 81 03" + hidScaling + hidWeight + hidEnd, reading.UnitNone,
			"06 00 FF F2 05", "rejected: 2 units: a code outside the logical range is none"},
		{"a limit in the same report", hidBegin + "09 34 A1 02" + hidUnitAry + hidScaling + hidWeight + " C0" + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitNone,
			"0C 00 0D 00 02 FF F2 05", "152.2 g"},
		{"the usage of a number in an array is no number", hidBegin + "19 40 29 5C 15 01 25 1D 75 08 95 02 81 00" + hidScaling + hidWeight + hidEnd, reading.UnitNone,
			"01 13 FF F2 05", "152.2 g"},
		{"long and reserved items are passed over", "05 8D 09 01 A1 01 FE 02 F0 81 02 0C" + hidUnitAry + hidScaling + hidWeight + " C0", reading.UnitNone, "02 FF F2 05", "152.2 g"},
		{"a scaling outside its limits", hidBegin + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitNone, "02 80 F2 05", "rejected: usage 0x41 is -128, outside the -127 to 127 of the descriptor"},
		{"a weight outside its limits", hidBegin + hidUnitAry + hidScaling + " 09 40 15 00 26 E8 03 75 10 81 02" + hidEnd, reading.UnitNone,
			"02 FF E9 03", "rejected: usage 0x40 is 1001, outside the 0 to 1000 of the descriptor"},
		{"two weights", hidBegin + hidUnitAry + hidScaling + " 09 40 15 00 26 E8 03 75 10 95 02 81 02" + hidEnd, reading.UnitNone, "02 FF 01 00 02 00", "rejected: 2 weights and 1 scalings in one report"},
		{"tonnes that no weight holds", hidBegin + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitNone, "08 09 FF FF", "rejected: " + errTooHeavy.Error()},
		{"ten digits behind the mark", hidBegin + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitNone, "02 F6 01 00", "rejected: scaling 10^-10: beyond 10^±9"},
		{"ten digits before it", hidBegin + hidUnitAry + hidScaling + hidWeight + hidEnd, reading.UnitNone, "01 0A 01 00", "rejected: scaling 10^10: beyond 10^±9"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s, err := hidScaleOf(t, tt.descriptor, tt.unit)
			require.NoError(t, err)
			var got reading.Reading
			err = s.read(hexOf(t, tt.report), &got)
			require.Equal(t, tt.want, describe(parsed{Reading: got}, err))
		})
	}
}

func TestScalesThatCannotBeReadAreToldWhy(t *testing.T) {
	const feature = " 09 40 15 00 27 FF FF 00 00 75 10 95 01 B1 02"
	for _, tt := range []struct{ name, descriptor, want string }{
		{"no scaling", hidBegin + hidUnitAry + hidWeight + hidEnd, "no Data Scaling (usage 0x41) beside Data Weight"},
		{"a scaling in another report", hidBegin + "85 01" + hidUnitAry + hidWeight + " 85 02" + hidScaling + hidEnd, "no Data Scaling (usage 0x41) beside Data Weight"},
		{"a unit in another report", hidBegin + "85 01" + hidScaling + hidWeight + " 85 02" + hidUnitAry + hidEnd, "Weight Unit (usages 0x51 to 0x5C) in another report"},
		{"a weight only on request", hidBegin + hidUnitAry + hidScaling + feature + hidEnd, "no Data Weight (usage 0x40) in a report that the scale sends by itself"},
		{"a limit and no load", hidBegin + "09 34 A1 02" + hidUnitAry + hidScaling + hidWeight + " C0" + hidEnd, "no Data Weight"},
		{"flags without number", hidBegin + hidScaling + hidWeight + " 09 52 15 00 25 01 75 01 96 00 10 81 02" + hidEnd, "more than 64 fields"},
		{"a logical collection of the Scales page in another application", "05 01 09 06 A1 01 05 8D 09 01 A1 02" + hidUnitAry + hidScaling + hidWeight + " C0 C0", "this is no scale"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := hidScaleOf(t, tt.descriptor, reading.UnitG)
			require.ErrorContains(t, err, tt.want)
		})
	}
}

func TestMoreBadDescriptors(t *testing.T) {
	push := ""
	for range maxNesting + 1 {
		push += "A4 "
	}
	for _, tt := range []struct{ name, descriptor, want string }{
		{"a long item that ends in its head", "FE 01", "offset 0: long item ends in its head"},
		{"Push without end", push, "offset 32: Push: more than 32 at a time"},
		{"alternative usages", "05 8D A9 01", "offset 2: Delimiter"},
		{"a range over two pages", "1B 51 00 8D 00 2B 5C 00 8E 00", "are not of one page"},
		{"a range with one page", "05 8D 1B 51 00 8D 00 29 5C", "are not of one page"},
		{"many reports in one", "75 08 96 FF 03 81 03 81 03", "offset 7: Report Count 1023 x Report Size 8 bits: a report has at most 8192 bits"},
		{"padding beyond all", "77 FF FF FF FF 97 FF FF FF FF 81 03", "a report has at most 8192 bits"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := parseHID(hexOf(t, tt.descriptor))
			require.ErrorContains(t, err, tt.want)
		})
	}
	_, err := parseHID(make([]byte, maxDescriptor+1))
	require.EqualError(t, err, "4097 bytes, and a descriptor has at most 4096")
}

// bitField is a field as the property below lays it out.
type bitField struct {
	items hexBytes
	size  int
	value int64
}

// Wherever fields lie and however wide they are, what is read is what was put there. Here bits are put into one big number.
func TestFieldsAreFoundAtEveryBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(2, 32).Draw(t, "bits of the weight")
		signed := rapid.Bool().Draw(t, "signed")
		low, high := int64(0), int64(1)<<size-1
		if signed {
			low, high = -1<<(size-1), int64(1)<<(size-1)-1
		}
		limits := append(hexBytes{0x17}, four(low)...)
		limits = append(append(limits, 0x27), four(high)...)
		scaling := rapid.Int64Range(-9, 0).Draw(t, "scaling")
		unit := rapid.Int64Range(0, 1).Draw(t, "unit")
		weight := rapid.Int64Range(low, high).Draw(t, "weight")
		unitBits := rapid.IntRange(1, 9).Draw(t, "bits of the unit")
		fields := rapid.Permutation([]bitField{
			{append(append(hexBytes{0x09, 0x40}, limits...), 0x75, byte(size), 0x95, 1, 0x81, 2), size, weight},
			{hexBytes{0x09, 0x41, 0x15, 0xF7, 0x25, 0, 0x75, 5, 0x95, 1, 0x81, 2}, 5, scaling},
			{hexBytes{0x09, 0x52, 0x09, 0x5B, 0x15, 0, 0x25, 1, 0x75, byte(unitBits), 0x95, 1, 0x81, 0}, unitBits, unit},
		}).Draw(t, "order")

		descriptor := hexBytes{0x05, 0x8D, 0x09, 0x01, 0xA1, 0x01}
		bits, at := new(big.Int), 0
		put := func(v int64, size int) {
			n := new(big.Int).SetUint64(uint64(v) << (64 - size) >> (64 - size))
			bits.Or(bits, n.Lsh(n, uint(at)))
			at += size
		}
		for _, f := range fields {
			if n := rapid.IntRange(0, 9).Draw(t, "padding"); n > 0 {
				descriptor = append(descriptor, 0x75, byte(n), 0x95, 1, 0x81, 3)
				put(rapid.Int64().Draw(t, "noise"), n)
			}
			descriptor = append(descriptor, f.items...)
			put(f.value, f.size)
		}
		descriptor = append(descriptor, 0xC0)
		report := make([]byte, (at+7)/8)
		for i, c := range bits.Bytes() { // the highest first
			report[len(bits.Bytes())-1-i] = c
		}
		d, err := parseHID(descriptor)
		require.NoError(t, err)
		s, err := newHIDScale(d, reading.UnitNone)
		require.NoError(t, err)
		var got reading.Reading
		err = s.read(report, &got)
		want := reading.Value{Digits: weight, Decimals: uint8(-scaling), Unit: [...]reading.Unit{reading.UnitG, reading.UnitOZ}[unit]}
		if _, holds := want.Mass(); !holds {
			require.ErrorIs(t, err, errTooHeavy)
			return
		}
		require.NoError(t, err)
		require.Equal(t, want, got.Value)
	})
}

// four is a number in four bytes, the lowest first.
func four(v int64) []byte { return []byte{byte(v), byte(v >> 8), byte(v >> 16), byte(v >> 24)} }

func FuzzHIDDescriptor(f *testing.F) {
	ref := readHIDReference(f)
	for _, d := range ref.Descriptors {
		f.Add([]byte(d.Bytes))
	}
	for _, d := range ref.BadDescriptors {
		f.Add([]byte(d.Bytes))
	}
	f.Fuzz(func(t *testing.T, descriptor []byte) {
		d, err := parseHID(descriptor)
		require.LessOrEqual(t, len(d.fields), len(descriptor))
		for r, bits := range d.bits {
			require.LessOrEqual(t, bits, maxReportBits)
			require.GreaterOrEqual(t, bits, 0)
			require.True(t, r.id == 0 || d.numbered)
		}
		for _, f := range d.fields {
			require.Positive(t, f.size*f.count)
			require.LessOrEqual(t, f.bit+f.size*f.count, d.bits[f.report])
			require.LessOrEqual(t, f.min, f.max)
		}
		if err != nil {
			return
		}
		s, err := newHIDScale(d, reading.UnitNone)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		n := 0
		for _, r := range s.reports {
			n += len(r.elements)
		}
		require.LessOrEqual(t, n, maxElements)
	})
}

func FuzzHIDReport(f *testing.F) {
	ref := readHIDReference(f)
	for _, r := range ref.Reports {
		f.Add([]byte(ref.Descriptors[r.Descriptor].Bytes), []byte(r.Bytes))
	}
	for _, r := range ref.BadReports {
		f.Add([]byte(ref.Descriptors[r.Descriptor].Bytes), []byte(r.Bytes))
	}
	f.Add([]byte(ref.Descriptors["full_device"].Bytes), []byte{4, 5})
	f.Fuzz(func(t *testing.T, descriptor, report []byte) {
		d, err := parseHID(descriptor)
		if err != nil {
			return
		}
		s, err := newHIDScale(d, reading.UnitG)
		if err != nil {
			return
		}
		var p reading.Reading
		if s.read(report, &p) != nil {
			return
		}
		if p.State != reading.Normal {
			require.Zero(t, p.Value)
			return
		}
		mass, ok := p.Value.Mass()
		require.True(t, ok)
		require.Equal(t, mass, p.Mass)
		require.LessOrEqual(t, p.Value.Decimals, uint8(reading.MaxDecimals))
	})
}

func BenchmarkHIDReport(b *testing.B) {
	s := readHIDReference(b).scale(b, "plain")
	report := []byte{3, 4, 2, 0xFF, 0xF2, 5}
	var p reading.Reading
	b.ReportAllocs()
	for b.Loop() {
		p = reading.Reading{}
		if err := s.read(report, &p); err != nil {
			b.Fatal(err)
		}
	}
}
