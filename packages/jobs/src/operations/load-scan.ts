import type { JobScan, ScanData } from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { decodeScanBlob } from '../store/scan-blob.ts';

/**
 * Points of a scan of a job, proven to be what was stored, in memory that workers share.
 *
 * @throws AppError `blob-missing`, `blob-changed`
 */
export async function loadScan(blobs: BlobStore, scan: JobScan): Promise<ScanData> {
  return decodeScanBlob(await blobs.get(scan.dataSha256));
}
