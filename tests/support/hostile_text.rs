//! Texts that try to become code, markup, a formula or a path somewhere.

/// What would run, be fetched, move what is around it or end what it is in. `struck` tells who it was.
pub fn attacks() -> Vec<String> {
    [
        "<script>struck('tag')</script>",
        "</script><script>struck('end of script')</script>",
        "</title></style></svg></desc><script>struck('end of all')</script>",
        "\"><img src=https://example.org/i.png onerror=struck('image')>",
        "' onfocus='struck(1)' autofocus tabindex='0",
        "<svg/onload=struck('svg')><set onbegin=struck(2)>",
        "\u{202e}drawkcab\u{2066}\u{2067}\u{200f}",
        "one\u{2028}two\u{2029}three",
        "]]>-->&lt;b&gt;&#60;script&#62;<!--<![CDATA[",
        "🌻👩\u{200d}🌾🐛\u{fe0f}\u{1f3f4}\u{e0067}",
        "{{ 7 * 7 }}{% raw %}${struck('template')}`",
        "javascript:struck('address') data:text/html,<script>struck(3)</script>",
        "\u{5d0}\u{5d1}\u{5d2} 12 \u{627}\u{644} <b>",
        "[x](javascript:struck('link')) ![i](https://example.org/j.png) <https://example.org/k>",
        "e\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}\u{301} \u{feff}zero",
    ]
    .map(str::to_owned)
    .into()
}
