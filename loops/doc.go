// Package loops judges dimmed zones from their samples.
package loops
