package scaledrv

import (
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// hidDescriptorLine is the line for a descriptor of the reference.
func hidDescriptorLine(t testing.TB, name string) string {
	return string(appendHID(nil, "descriptor", readHIDReference(t).Descriptors[name].Bytes))
}

const hidStable = "report 03 04 02 FF F2 05\n" // 152.2 g

func TestLinesOfAHIDLink(t *testing.T) {
	for _, tt := range []struct{ name, line, want string }{
		{"a report", "report 03 04 02 FF F2 05", "152.2 g stable"},
		{"a report without bytes", "report", "rejected: an empty report"},
		{"a half byte", "report 03 4", "rejected: no bytes of two digits each, parted by a blank, at 3"},
		{"no blank between two bytes", "report 03040 2", "rejected: no bytes of two digits each, parted by a blank, at 0"},
		{"a blank at the end", "report 03 ", "rejected: no bytes of two digits each, parted by a blank, at 0"},
		{"small letters", "report 03 04 02 ff f2 05", `rejected: "ff" is no hexadecimal byte`},
		{"half a line", "ort 03 04 02 FF F2 05", `rejected: line "ort 03 04 02 FF F2 0" is neither a descriptor nor a report`},
		{"another word", "Report 03 04 02 FF F2 05", `rejected: line "Report 03 04 02 FF F" is neither a descriptor nor a report`},
		{"a line of text", "ST,GS,+00152.2 g", `rejected: no bytes of two digits each, parted by a blank, at 0`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			read := shapeNamed("hid", ShapeOptions{}).open().read
			require.Equal(t, "rejected: "+errNoDescriptor.Error(), describe(answer(read, strings.TrimSpace(hidStable))))
			require.Equal(t, "no reading", describe(answer(read, strings.TrimSpace(hidDescriptorLine(t, "plain")))))
			require.Equal(t, tt.want, describe(answer(read, tt.line)))
		})
	}
}

func TestADescriptorWithAFaultEndsTheOneBefore(t *testing.T) {
	read := shapeNamed("hid", ShapeOptions{}).open().read
	for _, bad := range []string{"descriptor 05", "descriptor A1 01", "descriptor"} {
		require.Equal(t, "no reading", describe(answer(read, strings.TrimSpace(hidDescriptorLine(t, "plain")))))
		require.Contains(t, describe(answer(read, bad)), "rejected: ")
		require.Equal(t, "rejected: "+errNoDescriptor.Error(), describe(answer(read, strings.TrimSpace(hidStable))))
	}
}

func TestPoundsAndOuncesAreNoUnitOfAReport(t *testing.T) {
	_, err := ShapeByName("hid", ShapeOptions{Unit: reading.UnitLBOZ})
	require.ErrorContains(t, err, "unit lb:oz: a HID scale sends pounds or ounces")
}

// The longest descriptor still is one line, and one byte more is rejected.
func TestTheLongestDescriptorIsOneLine(t *testing.T) {
	descriptor := append([]byte(nil), readHIDReference(t).Descriptors["plain"].Bytes...)
	for len(descriptor) < maxDescriptor {
		descriptor = append([]byte{0x04}, descriptor...) // Usage Page without data: page 0, for the items up to the next
	}
	in := newIntake(shapeNamed("hid", ShapeOptions{}), nil)
	require.Equal(t, []string{"152.2 g stable"}, drain(in, string(appendHID(nil, "descriptor", descriptor))+hidStable))
	require.Zero(t, in.rejected)
	drain(in, string(appendHID(nil, "descriptor", append([]byte{0x04}, descriptor...)))+hidStable)
	require.EqualValues(t, longestHID+3, in.rejected)
}

func TestReportsAllocateNothing(t *testing.T) {
	in, stream := newIntake(shapeNamed("hid", ShapeOptions{}), nil), []byte(hidStable+"report 03 03 0B FF 34 19\n")
	drain(in, hidDescriptorLine(t, "plain"))
	require.Zero(t, testing.AllocsPerRun(100, func() {
		for rest := stream; len(rest) > 0; {
			_, rest, _ = in.next(rest, time.Time{})
		}
	}))
}

func TestWhyAHIDScaleIsSilentIsToldApart(t *testing.T) {
	const use = "set the scale to grams, kilograms, ounces or pounds"
	for _, tt := range []struct{ name, line, want string }{
		{"nothing but its descriptor", "",
			"silent: Nothing comes from the scale: see that it is switched on; one that sends only when the weight changes needs a longer `stale_after` in its entry"},
		{"reports in tael", "report 03 04 05 FE 64 00\n", "silent: Reports come from the scale, but none with a weight that can be used: see what it shows, and " + use},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, stop := context.WithCancel(t.Context())
				link := &fakeLink{}
				d := Start(ctx, link, shapeNamed("hid", ShapeOptions{}), Options{})
				synctest.Wait()
				_, err := link.scale().Write([]byte(hidDescriptorLine(t, "plain")))
				require.NoError(t, err)
				for range 21 {
					_, err = link.scale().Write([]byte(tt.line))
					require.NoError(t, err)
					time.Sleep(100 * time.Millisecond) // the bubble's time
				}
				e := <-d.Events()
				require.Equal(t, tt.want, e.Link.String()+": "+e.Advice)
				stop()
				for range d.Events() {
				}
			})
		})
	}
}

func TestAShareOfReportsThatCannotBeUsedIsToldOf(t *testing.T) {
	h := health{hid: true}
	h.heard(time.Unix(100, 0), 500, tally{frames: 20, rejected: 250})
	require.Equal(t, "Some 50 % of the reports from the scale cannot be used: set the scale to grams, kilograms, ounces or pounds", h.advice(LinkUp))
}

func FuzzHID(f *testing.F) {
	f.Add(hidDescriptorLine(f, "plain") + hidStable)
	f.Add(hidDescriptorLine(f, "full_device") + "report 04 05\n" + hidStable)
	f.Add(hidStable + "descriptor\nreport \n")
	f.Fuzz(func(t *testing.T, stream string) {
		whole, split := newIntake(shapeNamed("hid", ShapeOptions{}), nil), newIntake(shapeNamed("hid", ShapeOptions{}), nil)
		require.Equal(t, drain(whole, stream), drain(split, strings.Split(stream, "")...))
		require.Equal(t, whole.tally, split.tally)
		require.LessOrEqual(t, whole.rejected, uint64(len(stream)))
	})
}

func BenchmarkHIDLine(b *testing.B) {
	in, line := newIntake(shapeNamed("hid", ShapeOptions{}), nil), []byte(hidStable)
	drain(in, hidDescriptorLine(b, "plain"))
	b.ReportAllocs()
	for b.Loop() {
		if _, _, ok := in.next(line, time.Time{}); !ok {
			b.Fatal("no reading")
		}
	}
}
