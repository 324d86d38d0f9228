//go:build !linux

package scaledrv

import (
	"fmt"

	"go.bug.st/serial"
)

func listPorts(string) (list []ListedPort, err error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	for _, name := range names {
		list = append(list, ListedPort{Device: plainText(name), Kind: "serial", Link: "serial:" + plainText(name)})
	}
	return inOrder(list), nil
}
