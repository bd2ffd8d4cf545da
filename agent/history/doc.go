// Package history keeps what a zone has done: its minutes, for plots and for proof, and its newest samples at full resolution,
// of which clips around a finding are cut. It is pure: what is kept for long is committed by its owner.
//
// A zone takes a fixed amount of memory, set when it is made, and observing a sample allocates nothing:
//
//   - 30 minutes that are not committed yet (76 bytes each). They are committed every five; where that fails for longer,
//     the oldest are dropped and counted.
//   - 90 minutes of samples (32 bytes each), 256 at least and 2,048 at most. At a cycle of 5 s that is 1,080 samples, so
//     a zone takes 37 KB and 64 zones 2.4 MB; at 1 s the ring holds 34 minutes only.
//
// A clip should begin half an hour before the onset. Where a finding took longer to convince than the ring is long,
// the clip begins where the ring does, and the minutes are there for what was before.
//
// Samples are kept as they were read, before any scaling, so that a wrong scaling can be corrected in the configuration of a
// clip. They are kept as float32, which has every register of 16 bits and every float32 exactly; a counter of 32
// bits loses what is below 1 in 16 million. Minutes are scaled: percent of level, watts, lux.
package history
