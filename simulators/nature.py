"""Numbers of nature, each with where it comes from."""

from __future__ import annotations

# Development: egg 3, open 6, capped 12 days (common practice, no source).
EGG_DAYS, OPEN_DAYS, CAPPED_DAYS = 3, 6, 12
HOUSE_DAYS = 50  # the oldest house bees share the last place
DRONE_DAYS = 24  # Jay 1963; Fukuda & Ohtani 1977

# Of 100 eggs in the nest's centre 94 hatch and 85 emerge (Fukuda & Sakagami 1968).
EGG_LIVES, OPEN_LIVES, CAPPED_LIVES = 0.98, 0.985, 0.999
DRONE_LIVES = 0.977  # a day; of 100 eggs 56 emerge (Fukuda & Ohtani 1977)

HOUSE_LOSS = 0.004  # [1/d] Martin 2001
WINTER_LOSS = 0.0035  # [1/d] own choice: but for work and flight half live six months
FORAGER_LOSS_PER_H = 0.0180  # [1/h of full flight] own choice: 10 to 21 days of flying weather
FORAGER_LOSS_PER_DAY = 0.006  # [1/d] own choice: at home
FORAGER_LOSS_AUTUMN = 0.030  # [1/d] own choice: summer bees do not see the winter through
NURSE_CELLS = 2.65  # brood cells a nurse keeps: Becher 2010, after Free & Racey 1968

BEE_KG, DRONE_KG = 1.05e-4, 2.2e-4  # worker 0.10 to 0.125 g (published range); drone own choice
EGG_KG, OPEN_KG, CAPPED_KG = 1.5e-7, 5.0e-5, 1.3e-4  # own choice, mean of the stage
DRONE_BROOD_KG = 1.6e-4  # own choice
GORGE_KG = 3.6e-5  # honey a swarming bee takes: Winston 1987

LARVA_HONEY_KG, LARVA_POLLEN_KG = 1.09e-5, 2.36e-5  # a day: HoPoMo 2007
ADULT_POLLEN_KG = 1.5e-6  # a day: Pernal & Currie 2000
BROOD_HEAT_KG = 1.414e-5  # honey a cell and day: after Rortais et al. 2005
BROOD_HEAT_SHARE = 0.45  # own choice: combs share their warmth; the full figure empties any hive
# Honey a resting bee and day. Scales in winter show 33 to 50 g a day of 10,000 to 15,000 bees.
REST_WINTER_KG, REST_SUMMER_KG, REST_FROST_KG = 2.9e-6, 4.6e-6, 1.0e-7
DRONE_EATS_KG = 1.2e-5  # own choice
TRIP_HONEY_KG = 1.2e-6  # own choice: ten minutes on the wing
TRIPS_PER_H = 1.45  # own choice: a forager's trips in an hour of full flight
NECTAR_LOAD_KG, POLLEN_LOAD_KG = 4.0e-5, 1.5e-5  # crop 50 ul (Winston), pollen 15 mg (Seeley)
HONEY_KJ_PER_KG = 12_780.0  # USDA

HONEY_SUGAR = 0.82  # ripe honey: 18 % water
CELLS_A_FRAME = 6_100  # Langstroth deep, both sides: 61,000 cells in ten frames
SUPER_CELLS = 34_000  # own choice: shallow combs of one super
CELL_HONEY_KG, CELL_POLLEN_KG = 4.2e-4, 2.0e-4  # own choice; a full cell of honey 0.4 to 0.5 g
BEES_A_FRAME = 2_430  # Burgett & Burikam 1985, from memory
SUPER_BEES = 12_000  # own choice
SUPER_KG = 6.2  # own choice: shallow super with drawn combs
SUPER_WAX_KG = 0.9  # own choice: comb still to be drawn on foundation
WAX_COST = 7.0  # kg honey for 1 kg of wax; common practice, no source
