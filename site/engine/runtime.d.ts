// The runtime of Python, which the build puts before the worker's program.
declare const RUNTIME_INFO: unknown;
declare function loadPyodide(options: Record<string, unknown>): Promise<any>;
declare function _createPyodideModule(settings: unknown): Promise<any>;
