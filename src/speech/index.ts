export { readSpeechModel } from './silero.ts'
