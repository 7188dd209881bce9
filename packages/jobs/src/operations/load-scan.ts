import type { JobDocument, JobScan, ScanData } from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { decodeScanBlob } from '../store/scan-blob.ts';
import { lengthFactorOf } from './length-factors.ts';
import { reduceScanInPlace } from './reduced-data.ts';

/**
 * Points of a scan of a job, proven to be what was stored, in memory that workers share; where the session's temperature is
 * stated, in coordinates reduced to 20 degrees Celsius.
 *
 * @throws AppError `blob-missing`, `blob-changed`
 */
export async function loadScan(blobs: BlobStore, document: JobDocument, scan: JobScan): Promise<ScanData> {
  const data = decodeScanBlob(await blobs.get(scan.dataSha256));
  return reduceScanInPlace(data, lengthFactorOf(document, scan));
}
