// Takes pictures of HTML and SVG files as a phone and as a desktop show them, in
// light and in dark, for people to look at: FILE-320-light.png and so on, in the
// folder given last. An SVG is shown inside a page. Text in it that overlaps
// other text, or leaves the picture, is reported.
//
//	npm install playwright-core        (anywhere; nothing of it is kept here)
//	NODE_PATH=.../node_modules node testdata/screens/shoot.mjs notify/digest/testdata/*.html OUT
//
// The browser is the system's /usr/bin/chromium, or the program in the variable
// CHROMIUM. Nothing is fetched: any request outside the file is reported and
// refused.
import { createRequire } from 'node:module'
import fs from 'node:fs'
import path from 'node:path'

const { chromium } = createRequire(path.join(process.env.NODE_PATH ?? '', 'x.js'))('playwright-core')
const out = process.argv.at(-1)

async function showSVG(page, file, width) {
  await page.setContent('<!doctype html><meta charset="utf-8"><meta name="color-scheme" content="light dark"><body style="margin:0">' +
    fs.readFileSync(file, 'utf8'))
  const faults = await page.evaluate(() => {
    const box = document.querySelector('svg').viewBox.baseVal
    const texts = [...document.querySelectorAll('text')].map(t => {
      const { x, y, width, height } = t.getBBox()
      return { words: t.textContent, x, y, width, height }
    })
    const faults = texts.filter(t => t.x < 0 || t.x + t.width > box.width || t.y < 0 || t.y + t.height > box.height)
      .map(t => `leaves the picture: ${t.words}`)
    texts.forEach((a, i) => texts.slice(i + 1).forEach(b => {
      const x = Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x)
      const y = Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y)
      // Lines of one paragraph touch with their empty rims.
      if (x > 0.5 && y > 3.5) faults.push(`overlap: ${a.words} | ${b.words}`)
    }))
    return faults
  })
  for (const f of faults) {
    console.error(`${file} at ${width}: ${f}`)
    process.exitCode = 1
  }
}
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
      if (file.endsWith('.svg')) await showSVG(page, file, width)
      else await page.goto('file://' + path.resolve(file))
      const wide = await page.evaluate(() => document.documentElement.scrollWidth)
      if (wide > width) {
        console.error(`${file} is ${wide} pixels wide at ${width}`)
        process.exitCode = 1
      }
      await page.screenshot({ path: path.join(out, `${path.basename(file, path.extname(file))}-${width}-${colorScheme}.png`), fullPage: true })
      await page.close()
    }
  }
}
await browser.close()
