package fault

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"
)

// action is what the proxy does with a COMMIT.
type action int

const (
	pass      action = iota
	cutBefore        // the server never sees it and the connection breaks: it does not happen
	cutAfter         // the server has answered, the answer is lost: it has happened
	cutAtOnce        // forwarded, and both ends are gone before it can be told which
)

// commit is a COMMIT on its way to the server.
type commit struct {
	// Kind and Subject are those of the transaction's ledger entry; empty when it has none.
	Kind, Subject string
	// Writes: the transaction is not read only.
	Writes bool
}

// proxy stands between the daemon and Postgres and meddles with commits.
type proxy struct {
	listener net.Listener
	// decide is asked about every COMMIT, from many goroutines; the COMMIT waits for the answer.
	decide func(commit) action

	mu     sync.Mutex
	target string // connection URL of the server
	conns  map[net.Conn]bool
	cuts   map[action]int
}

// newProxy forwards to the server of the URL until the test ends.
func newProxy(t testing.TB, target string, decide func(commit) action) *proxy {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{listener: listener, target: target, decide: decide, conns: map[net.Conn]bool{}, cuts: map[action]int{}}
	go p.accept()
	t.Cleanup(func() {
		_ = listener.Close()
		p.drop()
	})
	return p
}

// url is the daemon's way through the proxy.
func (p *proxy) url(t testing.TB) string {
	t.Helper()
	u, err := url.Parse(p.target)
	if err != nil {
		t.Fatal(err)
	}
	u.Host, u.RawQuery = p.listener.Addr().String(), "sslmode=disable"
	return u.String()
}

// drop breaks all connections.
func (p *proxy) drop() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.Close()
	}
}

// count tells how often an action other than pass was taken.
func (p *proxy) count(a action) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cuts[a]
}

func (p *proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		go p.serve(client)
	}
}

func (p *proxy) serve(client net.Conn) {
	defer client.Close()
	config, err := pgconn.ParseConfig(p.target)
	if err != nil {
		return
	}
	network, address := pgconn.NetworkAddress(config.Host, config.Port)
	server, err := net.Dial(network, address)
	if err != nil {
		return
	}
	defer server.Close()
	p.mu.Lock()
	p.conns[client], p.conns[server] = true, true
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		delete(p.conns, client)
		delete(p.conns, server)
	}()
	s := &session{proxy: p, client: client, server: server, appends: map[string]bool{}}
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.answers()
		_ = client.Close()
	}()
	s.requests()
	_ = server.Close()
	<-done
}

// session is one connection through the proxy.
type session struct {
	proxy          *proxy
	client, server net.Conn
	appends        map[string]bool // prepared statements that append to the ledger
	current        commit

	mu      sync.Mutex
	swallow bool // the next answer ends the connection
}

// answers forwards what the server says.
func (s *session) answers() {
	buffer := make([]byte, 32<<10)
	for {
		n, err := s.server.Read(buffer)
		s.mu.Lock()
		swallow := s.swallow
		s.mu.Unlock()
		if swallow || err != nil {
			return
		}
		if _, err := s.client.Write(buffer[:n]); err != nil {
			return
		}
	}
}

// requests forwards what the client says, message by message.
func (s *session) requests() {
	r := bufio.NewReader(s.client)
	startup := true
	for {
		message, err := readMessage(r, startup)
		if err != nil {
			return
		}
		startup = false
		act := pass
		if s.note(message) {
			act = s.proxy.decide(s.current)
			s.current = commit{}
		}
		if act != pass {
			s.proxy.mu.Lock()
			s.proxy.cuts[act]++
			s.proxy.mu.Unlock()
		}
		switch act {
		case cutBefore:
			return
		case cutAfter:
			s.mu.Lock()
			s.swallow = true
			s.mu.Unlock()
		}
		if _, err := s.server.Write(message); err != nil || act == cutAtOnce {
			return
		}
	}
}

// readMessage reads one message of the protocol with its head; the first has no type.
func readMessage(r *bufio.Reader, startup bool) ([]byte, error) {
	head := 5
	if startup {
		head = 4
	}
	start, err := r.Peek(head)
	if err != nil {
		return nil, err
	}
	size := int(binary.BigEndian.Uint32(start[head-4:])) + head - 4
	if size < head || size > 1<<28 {
		return nil, fmt.Errorf("a message of %d bytes", size)
	}
	message := make([]byte, size)
	_, err = io.ReadFull(r, message)
	return message, err
}

// note keeps what a message tells about the transaction, and says whether it is COMMIT.
func (s *session) note(message []byte) (isCommit bool) {
	kind, body := message[0], message[min(5, len(message)):]
	switch kind {
	case 'Q':
		text, _, _ := strings.Cut(strings.ToLower(string(body)), "\x00")
		if strings.HasPrefix(text, "begin") {
			s.current = commit{Writes: !strings.Contains(text, "read only")}
		}
		return text == "commit"
	case 'P':
		name, rest, _ := bytes.Cut(body, []byte{0})
		s.appends[string(name)] = bytes.Contains(rest, []byte("ledger.append"))
	case 'B':
		_, rest, _ := bytes.Cut(body, []byte{0})
		name, rest, _ := bytes.Cut(rest, []byte{0})
		if !s.appends[string(name)] {
			return false
		}
		// Parameters are actor, kind, subject, …
		if values, err := parameters(rest); err == nil && len(values) > 2 {
			s.current.Kind, s.current.Subject = string(values[1]), string(values[2])
		}
	}
	return false
}

// parameters reads the values of a Bind message, from the format codes on.
func parameters(body []byte) (values [][]byte, err error) {
	r := bytes.NewReader(body)
	var n int16
	for range 2 { // format codes, of two bytes each, then the count of values
		if err := binary.Read(r, binary.BigEndian, &n); err != nil {
			return nil, err
		}
		if values == nil {
			values = [][]byte{}
			if _, err := r.Seek(2*int64(n), io.SeekCurrent); err != nil {
				return nil, err
			}
		}
	}
	for range n {
		var size int32
		if err := binary.Read(r, binary.BigEndian, &size); err != nil {
			return nil, err
		}
		if size > int32(r.Len()) {
			return nil, errors.New("a value is longer than its message")
		}
		value := make([]byte, max(size, 0))
		if _, err := io.ReadFull(r, value); err != nil {
			return nil, err
		}
		values = append(values, value)
	}
	return values, nil
}
