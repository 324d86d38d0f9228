package scaledrv

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/simulator"
)

// pseudoHID plugs a simulated HID scale in, in a folder that may have more of them.
func pseudoHID(t *testing.T, folder, layout string, number int) *simulator.HID {
	t.Helper()
	h, err := simulator.OpenHID(folder, layout, number)
	require.NoError(t, err)
	t.Cleanup(func() { h.Close() })
	return h
}

// descriptorOf rewrites the descriptor of a pseudo device.
func descriptorOf(t *testing.T, h *simulator.HID, digits string) {
	t.Helper()
	path := filepath.Join(h.Sys(), "class/hidraw", filepath.Base(h.Node()), "device/report_descriptor")
	require.NoError(t, os.WriteFile(path, hexOf(t, digits), 0o600))
}

const keyboard = "05 01 09 06 A1 01 05 07 19 E0 29 E7 15 00 25 01 75 01 95 08 81 02 C0" // no_scale_page of the reference

func byNode(h *simulator.HID) string { return "hid:" + h.Node() + "?sys=" + h.Sys() }

func byIDs(h *simulator.HID) string { return "hid:1209:0001?sys=" + h.Sys() }

func TestAHIDLinkGivesTheDescriptorAndALineForEachReport(t *testing.T) {
	h := pseudoHID(t, t.TempDir(), "", 0)
	port, err := parseLink(t, byNode(h)).Open(t.Context())
	require.NoError(t, err)
	defer port.Close()
	_, err = h.Write([]byte("03 04 02 FF F2 05\r\n03 03 02 FF F3 05\r\n"))
	require.NoError(t, err)
	want := hidDescriptorLine(t, "plain") + "report 03 04 02 FF F2 05\nreport 03 03 02 FF F3 05\n"
	require.NoError(t, port.SetReadDeadline(time.Now().Add(patience)))
	got := make([]byte, 0, len(want))
	for len(got) < len(want) { // in pieces of seven bytes
		n, err := port.Read(got[len(got):min(cap(got), len(got)+7)])
		require.NoError(t, err)
		got = got[:len(got)+n]
	}
	require.Equal(t, want, string(got))

	require.NoError(t, port.SetReadDeadline(time.Now()))
	_, err = port.Read(got)
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	_, err = port.Write([]byte("T\r\n"))
	require.EqualError(t, err, `write to HID scale "`+h.Node()+`": nothing is ever sent to a HID scale: take request and commands out of its entry`)
}

func TestAHIDScaleThatVanishes(t *testing.T) {
	t.Run("before it is opened", func(t *testing.T) {
		h := pseudoHID(t, t.TempDir(), "", 0)
		require.NoError(t, h.Close())
		_, err := parseLink(t, byNode(h)).Open(t.Context())
		require.EqualError(t, err, `open HID scale "`+h.Node()+`": no such file or directory (plug the scale in and switch it on, or correct the path)`)
		_, err = parseLink(t, byIDs(h)).Open(t.Context())
		require.EqualError(t, err, `find HID scale "1209:0001": no scale with these ids is there (plug it in and switch it on, or correct the ids)`)
	})
	t.Run("between listing and opening", func(t *testing.T) {
		h := pseudoHID(t, t.TempDir(), "", 0)
		devices, err := hidDevices(h.Sys())
		require.NoError(t, err)
		require.Len(t, devices, 1)
		require.NoError(t, h.Close())
		_, err = parseLink(t, "hid:"+devices[0].Node+"?sys="+h.Sys()).Open(t.Context())
		require.ErrorIs(t, err, syscall.ENOENT)
	})
	t.Run("and leaves its node", func(t *testing.T) {
		h := pseudoHID(t, t.TempDir(), "", 0)
		require.NoError(t, os.RemoveAll(filepath.Join(h.Sys(), "class/hidraw/hidraw0")))
		_, err := parseLink(t, byNode(h)).Open(t.Context())
		require.EqualError(t, err, `open HID scale "`+h.Node()+`": `+h.Sys()+` has no device of this name for a node of hidraw (`+hidForm+`)`)
	})
	t.Run("as its descriptor is read", func(t *testing.T) {
		_, err := readScaleDescriptor(t.TempDir())
		require.ErrorIs(t, err, syscall.ENODEV)
		require.EqualError(t, hidError("open HID scale", "x", err), `open HID scale "x": no such device (unplugged or switched off: check the scale and its cable)`)
	})
	t.Run("while it is read", func(t *testing.T) {
		h := pseudoHID(t, t.TempDir(), "", 0)
		port, err := parseLink(t, byIDs(h)).Open(t.Context())
		require.NoError(t, err)
		defer port.Close()
		require.NoError(t, port.SetReadDeadline(time.Now().Add(patience)))
		b := make([]byte, 4096)
		_, err = port.Read(b)
		require.NoError(t, err)
		require.NoError(t, h.Close())
		_, err = port.Read(b)
		require.ErrorIs(t, err, io.EOF)
		require.EqualError(t, err, `read HID scale "1209:0001": EOF (unplugged or switched off: check the scale and its cable)`)
	})
}

func TestHIDErrorsOfTheSystemHaveTheirHints(t *testing.T) {
	for _, tt := range []struct {
		err  error
		hint string
	}{
		{syscall.EACCES, hidPermission},
		{syscall.EPERM, hidPermission},
		{syscall.EIO, "unplugged or switched off: check the scale and its cable"},
		{syscall.ENODEV, "unplugged or switched off: check the scale and its cable"},
		{syscall.ENXIO, "plug the scale in and switch it on, or correct the path"},
		{syscall.EISDIR, hidForm},
		{syscall.EBADF, ""},
	} {
		require.Equal(t, tt.hint, hidError("open HID scale", "/dev/hidraw0", &os.PathError{Op: "open", Path: "/dev/hidraw0", Err: tt.err}).Do, tt.err.Error())
	}
}

func TestAHIDScaleIsFoundByItsIDs(t *testing.T) {
	folder := t.TempDir()
	typing, first := pseudoHID(t, folder, "", 0), pseudoHID(t, folder, "", 4)
	descriptorOf(t, typing, keyboard)
	link := parseLink(t, byIDs(first))
	port, err := link.Open(t.Context())
	require.NoError(t, err, "a keyboard with the same ids is no scale")
	require.NoError(t, port.Close())

	second := pseudoHID(t, folder, "reordered", 5)
	_, err = link.Open(t.Context())
	require.EqualError(t, err, `find HID scale "1209:0001": scales with the same ids: `+first.Node()+", "+second.Node()+" (name one by its path, as hid:"+first.Node()+")")

	_, err = parseLink(t, "hid:1209:0002?sys="+first.Sys()).Open(t.Context())
	require.EqualError(t, err, `find HID scale "1209:0002": no scale with these ids is there (plug it in and switch it on, or correct the ids; HID scales with other ids: 1209:0001, 1209:0001)`)

	require.NoError(t, first.Close())
	port, err = link.Open(t.Context())
	require.NoError(t, err, "wherever it is now")
	require.NoError(t, port.Close())
}

func TestAUdevNameOfAHIDScaleIsFollowed(t *testing.T) {
	h := pseudoHID(t, t.TempDir(), "", 0)
	name := filepath.Join(t.TempDir(), "scale")
	require.NoError(t, os.Symlink(h.Node(), name))
	port, err := parseLink(t, "hid:"+name+"?sys="+h.Sys()).Open(t.Context())
	require.NoError(t, err)
	require.NoError(t, port.Close())
}

func TestADescriptorThatNoWeightCanBeReadByIsToldAtOpening(t *testing.T) {
	h := pseudoHID(t, t.TempDir(), "", 0)
	for _, tt := range []struct{ name, descriptor, want string }{
		{"a keyboard", keyboard, "this is no scale: its descriptor has no application of the Scales page (0x8D)"},
		{"one that lies about its counts", readDescriptorText(t, "huge_count"), "its report descriptor: offset 21: Report Count 4294967295 x Report Size 32 bits: a report has at most 8192 bits"},
		{"an empty one", "", "this is no scale: its descriptor has no application of the Scales page (0x8D)"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			descriptorOf(t, h, tt.descriptor)
			before := descriptors(t)
			for range 3 {
				_, err := parseLink(t, byNode(h)).Open(t.Context())
				require.EqualError(t, err, `open HID scale "`+h.Node()+`": `+tt.want)
			}
			require.Equal(t, before, descriptors(t))
		})
	}
}

func readDescriptorText(t *testing.T, bad string) string {
	text := string(appendHID(nil, "", readHIDReference(t).BadDescriptors[bad].Bytes))
	return strings.TrimSpace(text)
}

func TestHIDDevicesAreListed(t *testing.T) {
	folder := t.TempDir()
	none, err := hidDevices(filepath.Join(folder, "sys"))
	require.NoError(t, err, "without the driver there is no folder")
	require.Empty(t, none)

	scale, other := pseudoHID(t, folder, "", 0), pseudoHID(t, folder, "", 1)
	descriptorOf(t, other, keyboard)
	bad := pseudoHID(t, folder, "", 2)
	descriptorOf(t, bad, "05 8D 09 01 A1 01 C0 C0")
	for number, uevent := range map[int]string{3: "HID_NAME=without ids\n", 4: "HID_ID=0003:00001209\n", 5: "HID_ID=0003:0001:G\n", 6: "HID_ID=0003:00011209:00000001\n"} {
		h := pseudoHID(t, folder, "", number)
		require.NoError(t, os.WriteFile(filepath.Join(h.Sys(), "class/hidraw", filepath.Base(h.Node()), "device/uevent"), []byte(uevent), 0o600))
	}
	require.NoError(t, os.MkdirAll(filepath.Join(folder, "sys/class/hidraw/hidraw7"), 0o700)) // it is going
	got, err := hidDevices(filepath.Join(folder, "sys"))
	require.NoError(t, err)
	const name = "Simulated bench scale"
	require.Equal(t, []hidDevice{
		{scale.Node(), 0x1209, 1, name, true},
		{other.Node(), 0x1209, 1, name, false},
		{bad.Node(), 0x1209, 1, name, true},
	}, got)
}

func TestAHIDScaleIsIdentified(t *testing.T) {
	folder := t.TempDir()
	bench, err := simulator.New(simulator.Options{Scale: simulator.ScaleOptions{Shape: "hid", RateHz: 40}})
	require.NoError(t, err)
	h := pseudoHID(t, folder, "", 0)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- bench.Run(ctx, h) }()
	defer func() {
		stop()
		require.NoError(t, <-ended)
	}()
	id, err := Identify(ctx, parseLink(t, "hid:1209:0001?sys="+folder+"/sys"), IdentifyOptions{})
	require.NoError(t, err)
	require.True(t, id.Sure, id.Advice)
	require.Len(t, id.Candidates, 1)
	c := id.Candidates[0]
	require.Equal(t, []any{"hid", reading.UnitG, 0, ""}, []any{c.Shape, c.Unit, c.Baud, c.Frame})
}

// From the load on a simulated pan to readings, over a node, with the scale unplugged and back under another number.
func TestASimulatedHIDScaleIsReadFromEndToEnd(t *testing.T) {
	for _, layout := range []string{"", "no-number", "reordered"} {
		t.Run("layout "+layout, func(t *testing.T) {
			t.Parallel()
			folder := t.TempDir()
			bench, err := simulator.New(simulator.Options{Scale: simulator.ScaleOptions{Shape: "hid", NoiseSD: -1, RateHz: 40, Line: simulator.LineOptions{Report: layout}}})
			require.NoError(t, err)
			ctx, stop := context.WithCancel(t.Context())
			plug := func(number int) (unplug func()) {
				h := pseudoHID(t, folder, layout, number)
				running, end := context.WithCancel(ctx)
				ended := make(chan error, 1)
				go func() { ended <- bench.Run(running, h) }()
				return func() {
					end()
					require.NoError(t, <-ended)
					require.NoError(t, h.Close())
				}
			}
			unplug := plug(0)
			link := parseLink(t, "hid:1209:0001?sys="+folder+"/sys")
			d := Start(ctx, link, shapeNamed("hid", ShapeOptions{}), Options{})
			defer func() {
				stop()
				for range d.Events() {
				}
			}()
			wait := func(want func(Event) bool) Event {
				for late := time.After(patience); ; {
					select {
					case e := <-d.Events():
						if want(e) {
							return e
						}
					case <-late:
						require.Fail(t, "nothing of the kind has happened")
					}
				}
			}
			shows := func(text string) func(Event) bool { return func(e Event) bool { return e.String() == text } }
			wait(shows("up 0.0 g stable"))
			require.NoError(t, bench.Do("cup", 0))
			e := wait(func(e Event) bool {
				return e.Reading.Mass.Grams() > 15 && strings.HasSuffix(e.String(), "g stable") // a scale may call its first step stable
			})
			require.InDelta(t, 20, e.Reading.Mass.Grams(), 2, "a cup")
			require.NoError(t, bench.Unit("oz"))
			e = wait(func(e Event) bool { return strings.HasSuffix(e.String(), "oz stable") })
			require.InDelta(t, 20, e.Reading.Mass.Grams(), 2, "in ounces")
			require.NoError(t, bench.Unit("g"))
			bench.Fault(true)
			wait(shows("up fault"))
			bench.Fault(false)
			unplug()
			e = wait(func(e Event) bool { return e.Link == LinkDown })
			require.ErrorContains(t, e.Err, "1209:0001")
			unplug = plug(1)
			wait(func(e Event) bool { return strings.HasSuffix(e.String(), "g stable") })
			require.Positive(t, d.Stats().Reconnects)
			require.Zero(t, d.Stats().RejectedBytes)
			require.NoError(t, bench.Do("lift", 0))
			wait(shows("up 0.0 g stable"))
			unplug()
		})
	}
}
