// Takes pictures of HTML files as a phone and as a desktop show them, in light
// and in dark, to look at by eye: FILE-320-light.png and so on, in the folder
// given last.
//
//	npm install playwright-core        (anywhere; nothing of it is kept here)
//	NODE_PATH=.../node_modules node testdata/screens/shoot.mjs notify/digest/testdata/*.html OUT
//
// The browser is Chromium from the system, named by CHROMIUM where it is not
// /usr/bin/chromium. Nothing is fetched: a request that leaves the file is
// reported and refused.
import { createRequire } from 'node:module'
import path from 'node:path'

const { chromium } = createRequire(path.join(process.env.NODE_PATH ?? '', 'x.js'))('playwright-core')
const out = process.argv.at(-1)
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
    '--disable-component-update', '--disable-sync'],
})
for (const file of process.argv.slice(2, -1)) {
  for (const width of [320, 800]) {
    for (const colorScheme of ['light', 'dark']) {
      const page = await browser.newPage({ viewport: { width, height: 640 }, colorScheme, deviceScaleFactor: 2 })
      await page.route('**/*', r => {
        if (r.request().url().startsWith('file:')) return r.continue()
        console.error(`${file} asks for ${r.request().url()}`)
        process.exitCode = 1
        return r.abort()
      })
      await page.goto('file://' + path.resolve(file))
      const wide = await page.evaluate(() => document.documentElement.scrollWidth)
      if (wide > width) {
        console.error(`${file} is ${wide} pixels wide at ${width}`)
        process.exitCode = 1
      }
      await page.screenshot({ path: path.join(out, `${path.basename(file, '.html')}-${width}-${colorScheme}.png`), fullPage: true })
      await page.close()
    }
  }
}
await browser.close()
