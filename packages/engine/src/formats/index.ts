// Formats: files of scans, targets and probed points in and out.
// Reading goes in two steps: `readScanFile` gives the file's numbers as they are, `toScanData` brings them to mm once
// the unit is settled. Works on bytes from a `ByteSource` and to a `ByteSink`; knows no platform.
export type { ByteSink, WriteSummary } from './byte-sink.ts';
export { type ByteSource, bytesInMemory } from './byte-source.ts';
export type { RawScan, ReadScanOptions, ScanCounts, ScanEncoding, ScanFormat } from './raw-scan.ts';
export { readScanFile } from './read-scan-file.ts';
export type { SurfaceOutput } from './surface-output.ts';
export { toScanData } from './to-scan-data.ts';
export { type UnitCandidate, type UnitProposal, unitProposal } from './unit-proposal.ts';
export { type WritePlyOptions, writePly } from './write-ply.ts';
