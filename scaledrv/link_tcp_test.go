package scaledrv

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// adapter is a serial-to-network adapter's side of a connection.
func adapter(t *testing.T) *net.TCPListener {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { listener.Close() })
	return listener.(*net.TCPListener)
}

// connect opens a link to the adapter and gives both sides.
func connect(t *testing.T, listener *net.TCPListener) (port Port, scale *net.TCPConn) {
	t.Helper()
	port, err := parseLink(t, "tcp://"+listener.Addr().String()).Open(t.Context())
	require.NoError(t, err)
	t.Cleanup(func() { port.Close() })
	scale, err = listener.AcceptTCP()
	require.NoError(t, err)
	t.Cleanup(func() { scale.Close() })
	require.NoError(t, port.SetReadDeadline(time.Now().Add(patience)))
	return port, scale
}

func TestBytesGoBothWaysOverTheNetwork(t *testing.T) {
	port, scale := connect(t, adapter(t))
	_, err := scale.Write([]byte(line1))
	require.NoError(t, err)
	got := make([]byte, len(line1))
	_, err = io.ReadFull(port, got)
	require.NoError(t, err)
	require.Equal(t, line1, string(got))

	_, err = port.Write([]byte("SI\r\n"))
	require.NoError(t, err)
	require.NoError(t, scale.SetReadDeadline(time.Now().Add(patience)))
	_, err = io.ReadFull(scale, got[:4])
	require.NoError(t, err)
	require.Equal(t, "SI\r\n", string(got[:4]))
}

func TestADeadlineOverTheNetwork(t *testing.T) {
	port, _ := connect(t, adapter(t))
	require.NoError(t, port.SetReadDeadline(time.Now()))
	_, err := port.Read(make([]byte, 1))
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)

	require.NoError(t, port.SetReadDeadline(time.Time{}))
	failed := make(chan error)
	go func() { _, err := port.Read(make([]byte, 1)); failed <- err }()
	require.NoError(t, port.SetReadDeadline(time.Unix(1, 0)), "as at the end of the context, while it reads")
	require.ErrorIs(t, within(t, failed), os.ErrDeadlineExceeded)
}

func TestAnAdapterThatTakesNoBytesHoldsNeitherADeadlineNorCloseBack(t *testing.T) {
	port, _ := connect(t, adapter(t))
	require.NoError(t, port.SetWriteDeadline(time.Now().Add(50*time.Millisecond)))
	flood := make([]byte, 1<<20)
	var err error
	for err == nil {
		_, err = port.Write(flood)
	}
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)

	require.NoError(t, port.SetWriteDeadline(time.Time{}))
	failed := make(chan error)
	go func() { _, err := port.Write(flood); failed <- err }()
	require.NoError(t, port.Close())
	require.ErrorIs(t, within(t, failed), net.ErrClosed)
}

func TestCloseFreesARead(t *testing.T) {
	port, _ := connect(t, adapter(t))
	require.NoError(t, port.SetReadDeadline(time.Time{}))
	failed := make(chan error)
	go func() { _, err := port.Read(make([]byte, 1)); failed <- err }()
	require.NoError(t, port.Close())
	require.ErrorIs(t, within(t, failed), net.ErrClosed)
}

func TestLossesOfTheNetworkAreTold(t *testing.T) {
	for _, tt := range []struct {
		name string
		lose func(scale *net.TCPConn)
		want string
	}{
		{"ended", func(scale *net.TCPConn) { scale.Close() },
			"EOF (the adapter ended the connection: check whether another program took it, and the adapter's own limit for idle connections)"},
		{"reset", func(scale *net.TCPConn) { _ = scale.SetLinger(0); scale.Close() },
			"connection reset by peer (the adapter broke the connection off: check whether it was restarted, or another program took it)"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			listener := adapter(t)
			port, scale := connect(t, listener)
			tt.lose(scale)
			_, err := port.Read(make([]byte, 1))
			require.EqualError(t, err, `read from "`+listener.Addr().String()+`": `+tt.want)
		})
	}
}

func TestARefusedConnectionIsTold(t *testing.T) {
	listener := adapter(t)
	require.NoError(t, listener.Close())
	_, err := parseLink(t, "tcp://"+listener.Addr().String()).Open(t.Context())
	require.EqualError(t, err, `connect to "`+listener.Addr().String()+`": connection refused `+
		"(the adapter does not listen on this port, or another program is connected: many adapters take one connection)")
	require.ErrorIs(t, err, syscall.ECONNREFUSED)
}

func TestTheEndOfTheContextEndsConnecting(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	_, err := parseLink(t, "tcp://"+adapter(t).Addr().String()).Open(ctx)
	require.ErrorContains(t, err, "operation was canceled")
}

func TestErrorsOfTheNetworkSayWhatToDo(t *testing.T) {
	in := func(err error) error { return &net.OpError{Op: "dial", Net: "tcp", Err: err} }
	call := func(err error) error { return in(os.NewSyscallError("connect", err)) }
	for _, tt := range []struct {
		name string
		err  error
		want string
	}{
		{"no such host", in(&net.DNSError{Err: "no such host", Name: "scale.example", IsNotFound: true}), "lookup scale.example: no such host (correct the host's name, or write its address)"},
		{"no way to the host", call(syscall.EHOSTUNREACH), "no route to host (check that the adapter is switched on and in this network, and its address)"},
		{"no way to the network", call(syscall.ENETUNREACH), "network is unreachable (check that the adapter is switched on and in this network, and its address)"},
		{"no answer to the keep-alive", call(syscall.ETIMEDOUT), "connection timed out (no answer: check that the adapter is switched on, its cable and its address)"},
		{"no answer to connecting", in(os.ErrDeadlineExceeded), "i/o timeout (no answer: check that the adapter is switched on, its cable and its address)"},
		{"a write after a reset", call(syscall.EPIPE), "broken pipe (the adapter broke the connection off: check whether it was restarted, or another program took it)"},
		{"what we know nothing of has no hint", call(syscall.EMFILE), "too many open files"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := tcpError("connect to", "scale.example:4001", tt.err)
			require.EqualError(t, err, `connect to "scale.example:4001": `+tt.want)
			require.ErrorIs(t, err, errors.Unwrap(err))
		})
	}
}
