//go:build !linux

package main

import "context"

func runsAlone(context.Context, string, string) (string, error) {
	return "", notRun("not run: the image's program is a Linux one")
}
