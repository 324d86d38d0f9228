package main

import (
	"fmt"
	"io"
	"strings"

	"twocup/scaledrv"
)

type portsCommand struct {
	JSON bool `name:"json" help:"The list as JSON."`
}

func (c portsCommand) Run(s streams) error {
	list, err := scaledrv.Ports()
	if err != nil {
		return &failure{exitUnreachable, err}
	}
	if c.JSON {
		return printJSON(s.out, portsJSON(list))
	}
	return printPorts(s.out, list)
}

// listedPort is a port as scripts get it.
type listedPort struct {
	Device  string   `json:"device"`
	Kind    string   `json:"kind"`
	VID     *string  `json:"usb_vid"` // four hexadecimal digits; null where it is not on USB
	PID     *string  `json:"usb_pid"`
	Maker   *string  `json:"maker"` // as the device states it; null where it does not
	Name    *string  `json:"name"`
	Serial  *string  `json:"serial_number"`
	Stable  []string `json:"stable_names"`
	Link    string   `json:"link"`
	Opens   bool     `json:"opens"`
	Trouble *string  `json:"trouble"` // why this user can't open it, and what to do
}

func portsJSON(list []scaledrv.ListedPort) any {
	answer := struct {
		Ports []listedPort `json:"ports"`
	}{Ports: []listedPort{}}
	for _, p := range list {
		row := listedPort{
			Device: p.Device, Kind: p.Kind, VID: stated(p.VID), PID: stated(p.PID), Maker: stated(p.Maker), Name: stated(p.Name),
			Serial: stated(p.Serial), Stable: append([]string{}, p.Stable...), Link: p.Link, Opens: p.Err == nil,
		}
		if p.Err != nil {
			row.Trouble = stated(p.Err.Error())
		}
		answer.Ports = append(answer.Ports, row)
	}
	return answer
}

const noPorts = "no serial port or HID scale: plug the scale or its adapter in, switch the scale on, and ask again"

// printPorts prints a table, and under it what is too long for a column and must not be cut: links are there to be copied.
func printPorts(out io.Writer, list []scaledrv.ListedPort) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, noPorts)
		return err
	}
	t := columns(out)
	fmt.Fprint(t, "device\tkind\tUSB id\topens\tcalls itself\n")
	for _, p := range list {
		id, opens := "-", "yes"
		if p.VID != "" {
			id = p.VID + ":" + p.PID
		}
		if p.Err != nil {
			opens = "no"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", p.Device, p.Kind, id, opens, callsItself(p))
	}
	fmt.Fprint(t, "\nlinks for a scale's entry, and for listen and identify:\n")
	for _, p := range list {
		fmt.Fprintf(t, "  %s\n", p.Link)
		if strings.Contains(p.Link, "/by-path/") {
			fmt.Fprint(t, "    names the USB socket: another adapter says the same of itself, or this one says nothing\n")
		}
	}
	for _, p := range list {
		if p.Err != nil {
			fmt.Fprintf(t, "\n%v\n", p.Err)
		}
	}
	return t.Flush()
}

// widest is how many characters of what a device calls itself fit into 100 with the other columns.
const widest = 54

func callsItself(p scaledrv.ListedPort) string {
	text := []rune(strings.TrimSpace(p.Maker + " " + p.Name))
	switch {
	case len(text) == 0:
		return "-"
	case len(text) > widest:
		return string(text[:widest-1]) + "…"
	}
	return string(text)
}
