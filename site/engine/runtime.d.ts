// The runtime of Python, which the build puts before the worker's program.
declare const UNPACKER_PROGRAM: string; // unpacker.js as one script, which the build puts into early.js
declare const RUNTIME_INFO: unknown;
declare function loadPyodide(options: Record<string, unknown>): Promise<any>;
declare function _createPyodideModule(settings: unknown): Promise<any>;
interface Window { feedcalcEarly: typeof import("./early.js") }
