"""Who wrote for what: every writer of the sets that say who wrote, each in one role.

The digit sets name 836 writers of MNIST (the numbers of NIST, as QMNIST gives them), 44 of
pendigits and 130 of UNIPEN. Everything a person wrote belongs to that person's one role; what is
no one's (the procedural hand, empty boxes) is free. The benchmark has the test writers of MNIST
and pendigits, and of UNIPEN those it had from the start (the CRC-32 of writer or donor a multiple
of 5). The others were shared out once, before any network was trained on this table: at random
(``numpy.random.default_rng(14)``) among those who wrote every digit (MNIST at least four times;
UNIPEN at least 28 samples in all), so that a person can fill in a sheet; but writers already kept
from training for choosing and calibrating stayed so, and the seven with samples in
``mislabelled.json`` and the seven of UNIPEN with the most samples train.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Literal, get_args

Role = Literal["training", "choice", "temperature", "writer model", "checked", "benchmark"]
TRAIN: Role = "training"
"""The network learns from them."""
DEV: Role = "choice"
"""Networks, recipes and weights are chosen by them."""
TEMPERATURE: Role = "temperature"
"""The one number that calibrates the network is fitted on them."""
WRITER_MODEL: Role = "writer model"
"""How hands differ, and the constants about hands, are fitted on them."""
CHECKED: Role = "checked"
"""They write the checked fields on which the promise rests."""
TEST: Role = "benchmark"
"""They measure, and nothing else."""
ROLES: tuple[Role, ...] = get_args(Role)

TABLE: Mapping[str, Mapping[Role, str]] = {
    "mnist": {
        TRAIN: """
        0000 0001 0003 0004 0007 0008 0012 0013 0016 0017 0022 0023 0027 0028 0029 0030 0032 0033
        0034 0035 0039 0042 0043 0045 0047 0048 0050 0051 0052 0055 0057 0058 0059 0060 0062 0063
        0067 0069 0072 0074 0079 0080 0081 0082 0084 0087 0089 0090 0091 0097 0098 0099 0100 0101
        0102 0104 0105 0106 0109 0110 0112 0113 0115 0118 0120 0122 0123 0125 0126 0128 0129 0130
        0131 0134 0135 0138 0139 0140 0141 0142 0144 0145 0147 0148 0151 0152 0153 0154 0156 0157
        0159 0160 0161 0162 0164 0165 0167 0168 0169 0172 0174 0176 0178 0179 0182 0184 0185 0187
        0188 0189 0190 0192 0193 0194 0195 0196 0197 0200 0201 0202 0203 0205 0206 0209 0211 0212
        0215 0216 0217 0218 0221 0223 0225 0229 0233 0234 0235 0239 0240 0241 0242 0243 0244 0245
        0246 0247 0250 0252 0255 0256 0257 0258 0259 0260 0261 0262 0264 0265 0266 0267 0268 0270
        0271 0273 0275 0276 0281 0282 0283 0284 0285 0286 0287 0288 2101 2102 2103 2105 2108 2109
        2110 2111 2113 2114 2117 2119 2122 2124 2129 2130 2132 2135 2136 2137 2142 2145 2146 2147
        2148 2150 2151 2153 2155 2156 2157 2158 2163 2165 2166 2168 2170 2171 2172 2174 2175 2177
        2178 2183 2186 2188 2189 2192 2197 2198 2199 2200 2201 2202 2204 2205 2206 2207 2210 2213
        2214 2215 2217 2218 2221 2225 2227 2228 2229 2230 2234 2236 2238 2240 2241 2242 2243 2244
        2245 2246 2247 2254 2257 2260 2261 2262 2263 2264 2265 2267 2271 2273 2274 2278 2279 2282
        2287 2289 2290 2291 2295 2297 2298 2299 2300 2301 2303 2304 2307 2308 2310 2313 2314 2315
        2317 2318 2319 2321 2323 2325 2326 2327 2328 2329 2331 2333 2334 2337 2338 2341 2342 2344
        2345 2347 2348 2349""",
        DEV: """
        0005 0037 0061 0071 0114 0149 0177 0210 0227 0274 0279 2115 2121 2125 2126 2134 2173 2185
        2191 2231 2269 2280 2296 2340""",
        TEMPERATURE: """
        0024 0065 0096 0103 0143 0204 0253 0272 0278 0280 2100 2107 2141 2144 2180 2182 2253 2270
        2281 2324""",
        WRITER_MODEL: """
        0018 0019 0020 0026 0041 0064 0083 0086 0088 0092 0095 0133 0158 0173 0181 0183 0198 0207
        0214 0222 0238 0248 0254 2120 2127 2131 2133 2149 2154 2160 2167 2181 2184 2203 2216 2224
        2235 2237 2248 2249 2251 2252 2255 2258 2302 2305 2306 2316 2322 2330""",
        CHECKED: """
        0002 0006 0009 0010 0011 0014 0015 0021 0025 0031 0036 0038 0040 0044 0046 0049 0053 0054
        0056 0066 0068 0070 0073 0075 0076 0077 0078 0085 0093 0094 0107 0108 0111 0116 0117 0119
        0121 0124 0127 0132 0136 0137 0146 0150 0155 0163 0166 0170 0171 0175 0180 0186 0191 0199
        0208 0213 0219 0220 0224 0226 0228 0230 0231 0232 0236 0237 0249 0251 0263 0269 0277 2104
        2106 2112 2116 2118 2123 2128 2138 2139 2140 2143 2152 2159 2161 2162 2164 2169 2176 2179
        2187 2190 2193 2194 2195 2196 2208 2209 2211 2212 2219 2220 2222 2223 2226 2232 2233 2239
        2250 2256 2259 2266 2268 2272 2275 2276 2277 2283 2284 2285 2286 2288 2292 2293 2294 2309
        2311 2312 2320 2332 2335 2336 2339 2343 2346""",
        TEST: """
        0326 0327 0328 0329 0330 0331 0332 0333 0334 0335 0336 0337 0338 0339 0340 0341 0342 0343
        0344 0345 0346 0347 0348 0349 0350 0351 0352 0353 0354 0355 0356 0357 0358 0359 0360 0361
        0362 0363 0364 0365 0366 0367 0368 0369 0370 0371 0372 0373 2351 2352 2353 2354 2355 2356
        2357 2358 2359 2360 2361 2362 2363 2364 2365 2366 2367 2368 2369 2370 2371 2372 2373 2374
        2375 2376 2377 2378 2379 2380 2381 2382 2383 2384 2385 2386 2387 2388 2389 2390 2391 2392
        2393 2394 2395 2396 2397 2398 2399 2400 2401 2402 2403 2404 2405 2406 2407 2408 2409 2410
        2411 2412 2413 2414 2415 2416 2417 2418 2419 2420 2421 2422 2423 2424 2425 2426 2427 2428
        2429 2430 2431 2432 2433 2434 2435 2436 2437 2438 2439 2440 2441 2442 2443 2444 2445 2446
        2447 2448 2449 2450 2451 2452 2453 2454 2455 2456 2457 2458 2459 2460 2461 2462 2463 2464
        2465 2466 2467 2468 2469 2470 2471 2472 2473 2474 2475 2476 2477 2478 2479 2480 2481 2482
        2483 2484 2485 2486 2487 2488 2489 2490 2491 2492 2493 2494 2495 2496 2497 2498 2499 2500
        2501 2502 2503 2504 2505 2506 2507 2508 2509 2510 2511 2512 2513 2514 2515 2516 2517 2518
        2519 2520 2521 2522 2523 2524 2525 2526 2527 2528 2529 2530 2531 2532 2533 2534 2535 2536
        2537 2538 2539 2540 2541 2542 2543 2544 2545 2546 2547 2548 2549 2550 2551 2552 2553 2554
        2555 2556 2557 2558 2559 2560 2561 2562 2563 2564 2565 2566 2567 2568 2569 2570 2571 2572
        2573 2574 2575 2576 2577 2578 2579 2580 2581 2582 2583 2584 2585 2586 2587 2588 2589 2590
        2591 2592 2593 2594 2595 2596 2597 2598 2599""",
    },
    "pendigits_orig": {
        TRAIN: """
        tra01 tra02 tra04 tra05 tra06 tra07 tra08 tra09 tra10 tra11 tra13 tra15 tra16 tra17 tra19
        tra20 tra21 tra22 tra23 tra24""",
        DEV: "tra27 tra28",
        TEMPERATURE: "tra29",
        WRITER_MODEL: "tra18 tra26",
        CHECKED: "tra03 tra12 tra14 tra25 tra30",
        TEST: "tes01 tes02 tes03 tes04 tes05 tes06 tes07 tes08 tes09 tes10 tes11 tes12 tes13 tes14",
    },
    "unipen_1a": {
        TRAIN: """
        aga006 aga008 aga009 apa003 apa004 apb005 apb006 apb008 apb010 apb014 apb025 apb029 apb035
        apb037 art001 ced000 ced002 ced004 ced008 ced012 ced019 ced025 ced037 gmd001 imp000 imp002
        imp004 imp005 imp006 imp007 imp009 imp011 imp012 imp013 imp014 imp016 imp018 imp019 imp022
        imp024 imp025 imp028 imp030 imp031 imp032 syn000 syn002 syn004 syn005 syn006 syn008 syn009
        syn010 syn011 syn016 uqb001 val000""",
        DEV: "aga007 aga011 apa006 apb018 apb031 ced020 ced021 ced022 ced028 ced035 imp033 syn015",
        TEMPERATURE: "aga000 apb009 ced038 gmd000 imp008 imp015 imp020",
        WRITER_MODEL: "apb003 apb007 apb028 ced005 ced015",
        CHECKED: """
        aga004 aga013 apb012 apb034 art002 ced006 ced007 ced018 ced034 ced040 uqb000 uqb003""",
        TEST: """
        apa001 apb000 apb001 apb016 apb026 apb030 apb032 app002 app003 app004 app005 app006 app007
        app008 app009 app010 app011 app012 ced003 ced009 ced010 ced016 ced026 ced027 ced031 ced032
        ced033 ced039 gmd002 imp001 imp010 imp027 imp029 syn001 syn003 syn013 val001""",
    },
}  # fmt: skip
"""The writers of each set by role, names with spaces between."""


@cache
def roles_of(name: str) -> Mapping[str, Role]:
    """From each writer of the set ``name`` to the writer's role; ValueError where one has two."""
    found: dict[str, Role] = {}
    for role, text in TABLE[name].items():
        for writer in text.split():
            if found.setdefault(writer, role) != role:
                raise ValueError(f"{name}: writer {writer} is in two roles")
    return found


def writers_in(name: str, role: Role) -> tuple[str, ...]:
    """The writers of the set ``name`` in this role, sorted."""
    return tuple(sorted(w for w, r in roles_of(name).items() if r == role))
