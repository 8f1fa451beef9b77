package main

import (
	"context"
	"fmt"
	"os"
	"syscall"
)

// runsAlone runs the program as nobody in a folder that holds nothing else, as
// the image does; without root it runs it as it is.
func runsAlone(ctx context.Context, dir, program string) (string, error) {
	cmd := command(ctx, program, "config")
	cmd.Env = []string{}
	if os.Geteuid() == 0 {
		if err := os.Chmod(dir, 0o755); err != nil {
			return "", err
		}
		cmd.Path, cmd.Args[0] = "/toeboard", "/toeboard"
		cmd.Dir = "/"
		cmd.SysProcAttr = &syscall.SysProcAttr{Chroot: dir, Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	output, err := cmd.CombinedOutput()
	if err != nil {
		return string(output), fmt.Errorf("the program does not run alone: %w", err)
	}
	return "", nil
}
