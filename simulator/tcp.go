package simulator

import (
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"sync"
	"time"
)

// TCP is a serial line behind a network adapter: a port that takes one client at a time and hangs up on any other, as many
// such boxes do (common practice, no source).
type TCP struct {
	listener   net.Listener
	delay      time.Duration
	near, said net.Conn // what clients say goes in at said and is read at near
	serving    sync.WaitGroup

	mu     sync.Mutex
	client net.Conn // nil: nobody is connected
	closed bool

	sending sync.Mutex // never locked while mu is held
	packet  []byte     // waits for more
	timer   *time.Timer
}

// mostInPacket is what an adapter collects at most; ours.
const mostInPacket = 1024

// ListenTCP opens a port, such as "127.0.0.1:0". The adapter collects bytes until none has come for charDelay and sends them
// together; 0 sends each chunk at once. Boxes commonly have a few milliseconds (common practice, no source).
func ListenTCP(address string, charDelay time.Duration) (*TCP, error) {
	if charDelay < 0 {
		return nil, fmt.Errorf("listen for a client on %q: a character delay of %v cannot be (give a positive one)", address, charDelay)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen for a client: %w (give another address, port 0 for any that is free)", err)
	}
	t := &TCP{listener: l, delay: charDelay}
	t.near, t.said = net.Pipe()
	t.serving.Go(t.accept)
	return t, nil
}

// Address is host and port to connect to.
func (t *TCP) Address() string { return t.listener.Addr().String() }

func (t *TCP) accept() {
	for {
		conn, err := t.listener.Accept()
		if err != nil {
			return // closed
		}
		t.mu.Lock()
		taken := t.client != nil || t.closed
		if !taken {
			t.client = conn
			t.serving.Go(func() {
				io.Copy(t.said, conn) // until either end is closed
				t.hangUp(conn)
			})
		}
		t.mu.Unlock()
		if taken {
			conn.Close()
		}
	}
}

// hangUp ends a client's connection. The port is free for the next.
func (t *TCP) hangUp(conn net.Conn) {
	conn.Close()
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.client == conn {
		t.client = nil
	}
}

// Unplug ends the connection at hand, if there is one, as a box does that loses its power or its cable.
func (t *TCP) Unplug() {
	t.mu.Lock()
	client := t.client
	t.mu.Unlock()
	if client != nil {
		t.hangUp(client)
	}
}

// Write sends bytes to the client. Nobody there is no error: the bytes are lost, as are those that a client does not take
// within a second.
func (t *TCP) Write(b []byte) (int, error) {
	t.sending.Lock()
	defer t.sending.Unlock()
	if t.delay == 0 {
		return len(b), t.send(b)
	}
	t.packet = append(t.packet, b...)
	switch {
	case len(t.packet) >= mostInPacket:
		return len(b), t.flush()
	case t.timer == nil:
		t.timer = time.AfterFunc(t.delay, func() {
			t.sending.Lock()
			defer t.sending.Unlock()
			_ = t.flush() // a client that has gone is the next Write's to tell
		})
	default:
		t.timer.Reset(t.delay)
	}
	return len(b), nil
}

func (t *TCP) flush() error {
	err := t.send(t.packet)
	t.packet = t.packet[:0]
	return err
}

func (t *TCP) send(b []byte) error {
	t.mu.Lock()
	client, closed := t.client, t.closed
	t.mu.Unlock()
	switch {
	case closed:
		return fmt.Errorf("send to the client of %s: %w", t.Address(), net.ErrClosed)
	case client == nil || len(b) == 0:
		return nil
	}
	err := client.SetWriteDeadline(time.Now().Add(time.Second))
	if err == nil {
		_, err = client.Write(b)
	}
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		t.hangUp(client)
	}
	return nil
}

// Read gives what clients say. It waits for it, until the deadline or Close.
func (t *TCP) Read(b []byte) (int, error) { return t.near.Read(b) }

// SetReadDeadline also ends a Read that waits already.
func (t *TCP) SetReadDeadline(at time.Time) error { return t.near.SetReadDeadline(at) }

// Close ends the connection and frees the port.
func (t *TCP) Close() error {
	t.mu.Lock()
	t.closed = true
	t.mu.Unlock()
	err := t.listener.Close()
	t.Unplug()
	t.near.Close()
	t.serving.Wait()
	t.sending.Lock()
	defer t.sending.Unlock()
	if t.timer != nil {
		t.timer.Stop()
	}
	return err
}
