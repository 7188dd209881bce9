// `npm run check`: every gate and test, as `npm test` does.
import { run } from './install.mjs';

run(process.execPath, ['tools/test.mjs']);
