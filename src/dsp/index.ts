export { Arena, type KernelExports, type Kernels, MODULE_BYTES } from './kernels.ts'
