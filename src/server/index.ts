export { openDesk } from './desk.ts'
