package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv"
)

var (
	cable = scaledrv.ListedPort{
		Device: "/dev/ttyUSB0", Kind: "serial", VID: "1234", PID: "abcd", Maker: "Invented Works", Name: "Bench Cable", Serial: "IW0042",
		Stable: []string{"/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0"},
		Link:   "serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0",
	}
	twin = scaledrv.ListedPort{
		Device: "/dev/ttyUSB1", Kind: "serial", VID: "1234", PID: "abcd", Name: strings.Repeat("long ", 25),
		Link: "serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0", Err: errors.New(`open serial port "/dev/ttyUSB1": permission denied (add the user to group dialout)`),
	}
	board = scaledrv.ListedPort{Device: "/dev/ttyS0", Kind: "serial", Link: "serial:/dev/ttyS0"}
)

func TestPortsForAPerson(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, printPorts(&out, []scaledrv.ListedPort{board, cable, twin}))
	require.Equal(t, `device        kind    USB id     opens  calls itself
/dev/ttyS0    serial  -          yes    -
/dev/ttyUSB0  serial  1234:abcd  yes    Invented Works Bench Cable
/dev/ttyUSB1  serial  1234:abcd  no     long long long long long long long long long long lon…

links for a scale's entry, and for listen and identify:
  serial:/dev/ttyS0
  serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0
  serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0
    names the USB socket: another adapter says the same of itself, or this one says nothing

open serial port "/dev/ttyUSB1": permission denied (add the user to group dialout)
`, out.String())
	table, _, _ := strings.Cut(out.String(), "\n\n")
	for line := range strings.Lines(table) {
		require.LessOrEqual(t, utf8.RuneCountInString(line), 100, line)
	}
}

func TestNoPortsAreASentence(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, printPorts(&out, nil))
	require.Equal(t, noPorts+"\n", out.String())
}

func TestPortsForAScript(t *testing.T) {
	for _, tt := range []struct {
		name string
		list []scaledrv.ListedPort
		want string
	}{
		{"none is an empty list", nil, `{"ports":[]}`},
		{"what is not known is null", []scaledrv.ListedPort{board}, `{"ports":[{"device":"/dev/ttyS0","kind":"serial","usb_vid":null,"usb_pid":null,
			"maker":null,"name":null,"serial_number":null,"stable_names":[],"link":"serial:/dev/ttyS0","opens":true,"trouble":null}]}`},
		{"what the device states", []scaledrv.ListedPort{cable}, `{"ports":[{"device":"/dev/ttyUSB0","kind":"serial","usb_vid":"1234","usb_pid":"abcd",
			"maker":"Invented Works","name":"Bench Cable","serial_number":"IW0042","stable_names":["/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0"],
			"link":"serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0","opens":true,"trouble":null}]}`},
		{"one that can't be opened", []scaledrv.ListedPort{{Device: "d", Kind: "hid", Link: "l", Err: errors.New("why")}}, `{"ports":[{"device":"d","kind":"hid",
			"usb_vid":null,"usb_pid":null,"maker":null,"name":null,"serial_number":null,"stable_names":[],"link":"l","opens":false,"trouble":"why"}]}`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			text, err := json.Marshal(portsJSON(tt.list))
			require.NoError(t, err)
			require.JSONEq(t, tt.want, string(text))
		})
	}
}

// TestPortsOfThisMachine: whatever it has, also nothing, is no error, and each link is one that the program reads.
func TestPortsOfThisMachine(t *testing.T) {
	var out bytes.Buffer
	require.Zero(t, run(t.Context(), []string{"ports"}, streams{nil, io.Discard, io.Discard}))
	require.Zero(t, run(t.Context(), []string{"ports", "--json"}, streams{nil, &out, io.Discard}))
	var answer struct{ Ports []listedPort }
	require.NoError(t, json.Unmarshal(out.Bytes(), &answer))
	for _, p := range answer.Ports {
		_, err := scaledrv.ParseLink(p.Link)
		require.NoError(t, err)
	}
}
