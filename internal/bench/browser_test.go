package bench

import _ "github.com/chromedp/chromedp"
