import { main, ready } from './ready.mjs'

await main(ready)
