// Formats: files of scans, targets and probed points in and out.
// Reading goes in two steps: `readScanFile` gives the file's numbers as they are, `toScanData` brings them to mm once
// the unit is settled. Works on bytes from a `ByteSource` and to a `ByteSink`; knows no platform.
export type { ByteSink, WriteSummary } from './byte-sink.ts';
export { type ByteSource, bytesInMemory } from './byte-source.ts';
export { type RawProbedPoints, readProbedPoints, toProbedPoints } from './probed-points.ts';
export type { RawScan, ReadScanOptions, ScanCounts, ScanEncoding, ScanFormat } from './raw-scan.ts';
export { readScanFile } from './read-scan-file.ts';
export type { SurfaceOutput } from './surface-output.ts';
export { type RawTargetList, readTargetList, toTargets, writeTargetList } from './target-list.ts';
export { toScanData } from './to-scan-data.ts';
export { type UnitCandidate, type UnitProposal, unitProposal } from './unit-proposal.ts';
export { writeGlb } from './write-glb.ts';
export { writeObj } from './write-obj.ts';
export { type WritePlyOptions, writePly } from './write-ply.ts';
export { writePoints } from './write-points.ts';
export { writeStl } from './write-stl.ts';
