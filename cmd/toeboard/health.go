package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"time"
)

type healthVerb struct{}

// Run asks the server on the listening address whether it is well, so that a
// container needs no other program for its check.
func (healthVerb) Run(ctx context.Context, s *Settings) error {
	host, port, err := net.SplitHostPort(s.Listen)
	if err != nil {
		return fmt.Errorf("listen address %q: %w", s.Listen, err)
	}
	if ip := net.ParseIP(host); host == "" || (ip != nil && ip.IsUnspecified()) {
		host = "127.0.0.1"
	}
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+net.JoinHostPort(host, port)+"/healthz", nil)
	if err != nil {
		return err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return fmt.Errorf("no answer: %w", err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("the server answers %s", resp.Status)
	}
	return nil
}
