import type { JobDocument, JobScan, ScanData } from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { decodeScanBlob } from '../store/scan-blob.ts';
import { lengthFactorOf, placedFactorOf } from './length-factors.ts';
import { reduceScanInPlace } from './reduced-data.ts';

/**
 * Points of a scan of a job as its pose takes them, proven to be what was stored, in memory that workers share: where the
 * session's temperature is stated, in coordinates reduced to 20 degrees Celsius, and to the scale that the alignment found.
 *
 * @throws AppError `blob-missing`, `blob-changed`
 */
export async function loadScan(blobs: BlobStore, document: JobDocument, scan: JobScan): Promise<ScanData> {
  return reduceScanInPlace(decodeScanBlob(await blobs.get(scan.dataSha256)), placedFactorOf(document, scan));
}

/**
 * As `loadScan`, before any alignment: reduced to 20 degrees Celsius only.
 *
 * @throws AppError `blob-missing`, `blob-changed`
 */
export async function loadScanToAlign(blobs: BlobStore, document: JobDocument, scan: JobScan): Promise<ScanData> {
  return reduceScanInPlace(decodeScanBlob(await blobs.get(scan.dataSha256)), lengthFactorOf(document, scan));
}
