package web

import (
	"context"
	"errors"
	"net"
	"net/http"
	"time"

	"golang.org/x/net/netutil"

	"route/internal/finding"
)

// Listen opens a port of this machine for the page. Another address than a
// loopback one is refused: the page has no password.
func Listen(address string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, &finding.Fault{Code: "listen_address", Text: "--listen " + address + " is no address with a port", Hint: "write it as 127.0.0.1:8031, or 127.0.0.1:0 for any free port", Err: err}
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, &finding.Fault{Code: "listen_address", Text: "--listen " + address + " would let other machines in, and the page has no password", Hint: "serve at 127.0.0.1 and reach it from elsewhere through ssh -L"}
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, &finding.Fault{Code: "listen_address", Text: "cannot listen at " + address + ": " + err.Error(), Hint: "another program may use the port; 127.0.0.1:0 takes a free one", Err: err}
	}
	return l, nil
}

// maxConnections bounds what is open at once.
const maxConnections = 512

// Serve answers until the context ends, which is no error.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler:           s.Handler(),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       20 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		BaseContext:       func(net.Listener) context.Context { return ctx },
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(netutil.LimitListener(l, maxConnections)) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	patience, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
	defer cancel()
	if err := server.Shutdown(patience); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return server.Close()
}
