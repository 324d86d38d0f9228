package scaledrv

import (
	"io"
	"net"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// The figures are the system's own answers, by getsockopt.
func TestADeadAdapterIsNoticedWithin15Seconds(t *testing.T) {
	port, _ := connect(t, adapter(t))
	conn, err := port.(*tcpPort).Conn.(*net.TCPConn).SyscallConn()
	require.NoError(t, err)
	option := func(level, name int) (value int) {
		require.NoError(t, conn.Control(func(fd uintptr) { value, err = syscall.GetsockoptInt(int(fd), level, name) }))
		require.NoError(t, err)
		return value
	}
	require.NotZero(t, option(syscall.SOL_SOCKET, syscall.SO_KEEPALIVE))
	idle, interval, count := option(syscall.IPPROTO_TCP, syscall.TCP_KEEPIDLE), option(syscall.IPPROTO_TCP, syscall.TCP_KEEPINTVL), option(syscall.IPPROTO_TCP, syscall.TCP_KEEPCNT)
	require.Equal(t, 15, idle+count*interval)
	require.NotZero(t, option(syscall.IPPROTO_TCP, syscall.TCP_NODELAY), "small writes go at once")
}

func TestConnectionsDoNotLeak(t *testing.T) {
	listener := adapter(t)
	round := func() {
		port, err := parseLink(t, "tcp://"+listener.Addr().String()).Open(t.Context())
		require.NoError(t, err)
		scale, err := listener.Accept()
		require.NoError(t, err)
		require.NoError(t, scale.Close())
		_, err = io.Copy(io.Discard, port)
		require.ErrorIs(t, err, io.EOF)
		require.NoError(t, port.Close())
	}
	round()
	before := descriptors(t)
	for range 20 {
		round()
	}
	require.Equal(t, before, descriptors(t))
}
