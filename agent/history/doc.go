// Package history keeps what a zone has done: its minutes, for plots and for proof, and its newest samples at full resolution,
// of which clips around a finding are cut. It is pure: what is kept for long is committed by its owner.
//
// A zone takes a fixed amount of memory, set when it is made, and observing a sample allocates nothing:
//
//   - 30 minutes that are not committed yet (76 bytes each). They are committed every five; where that fails for longer,
//     the oldest are dropped and counted.
//   - samples of 90 minutes, in blocks of 1 KiB, 6 at least and 32 at most. At a cycle of 5 s these are 12, so a zone takes
//     16 KB and 64 zones 1 MB. A sample takes 7 to 30 bytes, about 11 where whole numbers are read; of numbers with fractions the
//     ring may hold half an hour only, and at a cycle of 1 s it holds 50 minutes.
//
// A clip should begin half an hour before the onset. Where a finding took longer to convince than the ring is long,
// the clip begins where the ring does, and the minutes are there for what was before.
//
// Samples are kept as they were read, before any scaling, so that a wrong scaling can be corrected in the configuration of a
// clip. They are kept as float32, which has every register of 16 bits and every float32 exactly; a counter of 32
// bits loses what is below 1 in 16 million. Minutes are scaled: percent of level, watts, lux.
package history
