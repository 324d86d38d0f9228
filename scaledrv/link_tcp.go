package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// tcpLink is a scale behind a serial-to-network adapter, which listens on a TCP port and passes bytes on as they are. The
// scale's line settings are the adapter's. Such an adapter waits for more characters before it sends what it has,
// commonly 3 ms or more and settable (common practice, no source): that delay is part of a reading's age and we can't
// see it.
type tcpLink struct{ host, port string }

const dialTime = 5 * time.Second

// An adapter that was switched off says nothing: it is asked after idle seconds without bytes, and given up 15 s after
// the last.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 6 * time.Second, Interval: 3 * time.Second, Count: 3}

// parseTCP reads what follows "tcp:".
func parseTCP(text string) (*tcpLink, error) {
	const form = "write it as tcp://192.0.2.7:4001 or tcp://[2001:db8::7]:4001"
	address, ok := strings.CutPrefix(text, "//")
	if !ok {
		return nil, errors.New("no // before the host: " + form)
	}
	host, port, err := net.SplitHostPort(address)
	if err != nil || host == "" || strings.ContainsAny(host, "/?@ ") {
		return nil, fmt.Errorf("%q is no host and port: %s", address, form)
	}
	if number, err := strconv.ParseUint(port, 10, 16); err != nil || number == 0 {
		return nil, fmt.Errorf("port %q is none of 1 to 65535: %s", port, form)
	}
	return &tcpLink{host, port}, nil
}

// Name is the host and port.
func (l *tcpLink) Name() string { return net.JoinHostPort(l.host, l.port) }

// Open connects, within 5 s. The error is a *LinkError.
func (l *tcpLink) Open(ctx context.Context) (Port, error) {
	dialer := net.Dialer{Timeout: dialTime, KeepAliveConfig: keepAlive} // net sends small writes without delay by itself
	conn, err := dialer.DialContext(ctx, "tcp", l.Name())
	if err != nil {
		return nil, tcpError("connect to", l.Name(), err)
	}
	return &tcpPort{Conn: conn, name: l.Name()}, nil
}

type tcpPort struct {
	net.Conn
	name string
}

func (p *tcpPort) Read(b []byte) (int, error) {
	n, err := p.Conn.Read(b)
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		err = tcpError("read from", p.name, err)
	}
	return n, err
}

func (p *tcpPort) Write(b []byte) (int, error) {
	n, err := p.Conn.Write(b)
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		err = tcpError("write to", p.name, err)
	}
	return n, err
}

func tcpError(op, name string, err error) *LinkError {
	if inOp, ok := errors.AsType[*net.OpError](err); ok {
		err = inOp.Err // the address stands in Device
	}
	if inCall, ok := errors.AsType[*os.SyscallError](err); ok {
		err = inCall.Err
	}
	return &LinkError{Op: op, Device: name, Do: tcpHint(err), Err: err}
}

func tcpHint(err error) string {
	if unknown, ok := errors.AsType[*net.DNSError](err); ok && unknown.IsNotFound {
		return "correct the host's name, or write its address"
	}
	timeout, ok := errors.AsType[net.Error](err)
	switch {
	case isAny(err, syscall.ECONNREFUSED):
		return "the adapter does not listen on this port, or another program is connected: many adapters take one connection"
	case isAny(err, syscall.EHOSTUNREACH, syscall.ENETUNREACH):
		return "check that the adapter is switched on and in this network, and its address"
	case isAny(err, syscall.ECONNRESET, syscall.EPIPE):
		return "the adapter broke the connection off: check whether it was restarted, or another program took it"
	case isAny(err, io.EOF):
		return "the adapter ended the connection: check whether another program took it, and the adapter's own limit for idle connections"
	case ok && timeout.Timeout():
		return "no answer: check that the adapter is switched on, its cable and its address"
	}
	return ""
}
