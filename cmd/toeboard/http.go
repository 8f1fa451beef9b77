package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"syscall"
	"time"

	"toeboard/weather/fault"
)

// listen opens the address. When another program has it and free is set, a
// free port of the same host is taken, so that two demos stand side by side.
func listen(address string, free bool) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err == nil {
		return l, nil
	}
	if free && errors.Is(err, syscall.EADDRINUSE) {
		host, _, splitErr := net.SplitHostPort(address)
		if splitErr == nil {
			return net.Listen("tcp", net.JoinHostPort(host, "0"))
		}
	}
	return nil, &fault.Error{Kind: fault.Unavailable, Field: "listen", Value: address, Want: "an address of this machine that no other program uses", Err: err}
}

// serveHTTP serves until ctx ends, then lets requests in flight finish.
func serveHTTP(ctx context.Context, l net.Listener, h http.Handler, log *slog.Logger) error {
	srv := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      60 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	return srv.Shutdown(end)
}

// serveUntilLost serves until ctx ends or a private database ends by itself:
// without one every page would be an error.
func serveUntilLost(ctx context.Context, db *database, l net.Listener, h http.Handler, log *slog.Logger) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var lost error
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		select {
		case <-db.lost():
			lost = fmt.Errorf("the private database ended by itself: see %s", db.private.LogFile())
			cancel()
		case <-ctx.Done():
		}
	}()
	err := serveHTTP(ctx, l, h, log)
	cancel()
	<-watched
	return errors.Join(err, lost)
}
