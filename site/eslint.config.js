import js from "@eslint/js";

const CLASSIC = ["offline/service_worker.js", "offline/retire.js"];

export default [
  { ignores: ["node_modules/", "eslint.config.js"] },
  js.configs.recommended,
  {
    rules: {
      complexity: ["error", 12],
      curly: ["error", "multi-line"],
      eqeqeq: "error",
      "max-depth": ["error", 4],
      "max-lines": ["error", { max: 300, skipBlankLines: true, skipComments: true }],
      "max-lines-per-function": ["error", { max: 60 }],
      "max-params": ["error", 4],
      "no-shadow": ["error", { builtinGlobals: false }],
      "no-undef": "off", // the compiler knows better, where it checks
      "no-unused-vars": ["error", { argsIgnorePattern: "^_" }],
      "no-var": "error",
      "object-shorthand": "error",
      "prefer-const": "error",
    },
  },
  { files: CLASSIC, languageOptions: { sourceType: "script" } },
];
