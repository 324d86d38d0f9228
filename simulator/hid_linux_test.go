package simulator

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The reports are written here by hand from the descriptors' own words and the tables of USB-IF HID Usage Tables for USB 1.5.
func TestReportsHaveTheirExactBytes(t *testing.T) {
	rest := func(n int64) display { return display{divisions: n, stable: true} }
	kilograms := ScaleOptions{Unit: "kg", Division: reading.Gram, Capacity: 6 * reading.Kilogram}
	for _, tt := range []struct {
		name, layout string
		scale        ScaleOptions
		shown        display
		report       string
	}{
		{"stable", "", ScaleOptions{}, rest(1522), "03 04 02 FF F2 05"},
		{"moving", "", ScaleOptions{}, display{divisions: 1522}, "03 03 02 FF F2 05"},
		{"at zero", "", ScaleOptions{}, rest(0), "03 02 02 FF 00 00"},
		{"the most", "", ScaleOptions{}, rest(60009), "03 04 02 FF 69 EA"},
		{"below zero there is no sign", "", ScaleOptions{}, rest(-123), "03 05 02 FF 7B 00"},
		{"over", "", ScaleOptions{}, display{divisions: 70000, over: true}, "03 06 02 FF 00 00"},
		{"at fault", "", ScaleOptions{}, display{divisions: 1522, fault: true}, "03 01 02 FF 00 00"},
		{"kilograms", "", kilograms, rest(4999), "03 04 03 FD 87 13"},
		{"without a number", "no-number", kilograms, rest(4999), "04 03 FD 87 13"},
		{"in another order", "reordered", ScaleOptions{}, rest(1522), "07 F2 05 00 40 A5 FF 00"},
		{"with a sign", "reordered", ScaleOptions{}, rest(-123), "07 85 FF FF 40 A5 FF 00"},
		{"kilograms by another code", "reordered", kilograms, rest(4999), "07 87 13 00 40 A5 FD 01"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tt.scale.Shape, tt.scale.Line.Report = "hid", tt.layout
			require.Equal(t, tt.report+"\r\n", string(testFormat(t, tt.scale).append(nil, tt.shown)))
		})
	}
}

// The descriptors are those of the reference that the reader is held against too.
func TestDescriptorsAreTheReferences(t *testing.T) {
	text, err := os.ReadFile("../scaledrv/testdata/hid/hid-scales.json")
	require.NoError(t, err)
	var ref struct {
		Descriptors map[string]struct{ Bytes string }
	}
	require.NoError(t, json.Unmarshal(text, &ref))
	for layout, name := range map[string]string{"": "plain", "no-number": "device_on_top", "reordered": "reordered"} {
		require.Equal(t, ref.Descriptors[name].Bytes, hidLayouts[layout].descriptor)
		require.Len(t, hidDescriptor(layout), len(strings.Fields(ref.Descriptors[name].Bytes)))
	}
}

func TestDamageToReportsIsRefused(t *testing.T) {
	_, err := New(Options{Scale: ScaleOptions{Shape: "hid"}, Damage: DamageOptions{Flip: 0.1}})
	require.ErrorContains(t, err, "damage to HID reports")
}

func openHID(t *testing.T) *HID {
	h, err := OpenHID(t.TempDir(), "", 3)
	require.NoError(t, err)
	t.Cleanup(func() { h.Close() })
	return h
}

func send(t *testing.T, h *HID, text string) {
	n, err := h.Write([]byte(text))
	require.NoError(t, err)
	require.Equal(t, len(text), n)
}

func TestANodeGivesOneReportARead(t *testing.T) {
	h := openHID(t)
	send(t, h, "01\r\n")
	reader, err := os.Open(h.Node())
	require.NoError(t, err)
	defer reader.Close()
	send(t, h, "03 04 02")
	send(t, h, " FF\r\n05 06\r\n0")
	send(t, h, "7\r\n")
	got := make([]byte, 64)
	for _, want := range []string{"\x03\x04\x02\xff", "\x05\x06", "\x07"} {
		n, err := reader.Read(got)
		require.NoError(t, err)
		require.Equal(t, want, string(got[:n]))
	}
	_, err = h.Write([]byte("ST,GS\r\n"))
	require.ErrorContains(t, err, "give the bench the shape hid")
	require.NoError(t, h.Close())
	_, err = reader.Read(got)
	require.ErrorIs(t, err, io.EOF)
}

func TestReportsThatNobodyTakesAreLost(t *testing.T) {
	h := openHID(t)
	reader, err := os.Open(h.Node())
	require.NoError(t, err)
	for range 1000 {
		send(t, h, "01\r\n")
	}
	require.NoError(t, reader.Close())
	send(t, h, "02\r\n") // to nobody
	reader, err = os.Open(h.Node())
	require.NoError(t, err)
	defer reader.Close()
	send(t, h, "03\r\n")
	got := make([]byte, 64)
	n, err := reader.Read(got)
	require.NoError(t, err)
	require.Equal(t, "\x03", string(got[:n]), "nothing of before it was opened")
}

func TestADeviceThatIsUnpluggedLeavesNothing(t *testing.T) {
	folder := t.TempDir()
	h, err := OpenHID(folder, "", 0)
	require.NoError(t, err)
	require.FileExists(t, filepath.Join(h.Sys(), "class/hidraw/hidraw0/device/report_descriptor"))
	_, err = OpenHID(folder, "", 0)
	require.ErrorContains(t, err, "file exists")
	require.FileExists(t, h.Node(), "the first is still there")
	require.NoError(t, h.Close())
	left, err := filepath.Glob(folder + "/*/*/*/*")
	require.NoError(t, err)
	require.Empty(t, left)
	_, err = OpenHID(filepath.Join(folder, "none\x00"), "", 0)
	require.Error(t, err)
}
