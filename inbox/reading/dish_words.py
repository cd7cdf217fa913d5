"""What readers speak of when they speak of a dish or a food without its name.

A reader with a tub of crystals writes "icy" and "scoop", not "vanilla ice cream"; one who asks about "the
starter" means the sourdough. Common practice, no source. Look at `DISHES` and `FOODS`.
"""

from types import MappingProxyType

_DISHES = """
bread loaf: crumb crust slice toast knead dough prove proof yeast rise brick sandwich bake baker
sourdough: starter levain discard bulk banneton basket ear score lame blade hooch ferment hole tang wild feed
focaccia: dimple bubble olive
pizza: base crust topping mozzarella stone slice margherita
bagel: ring boil hole shiny chewy malt swim
doughnut: fry oil fat fryer ring glaze sugar filling thermometer hanukkah
croissant: layer laminate lamination flaky honeycomb leak block turn crescent breakfast
puff pastry: layer flaky fold turn laminate lamination
pie tart quiche galette: crust case blind base lid crimp slice filling shortcrust pastry
scone: jam cream clotted cutter tea round
biscuit cookie snap: spread tray chew chewy dunk crisp dough jar batch ball biscuit cookie
shortbread: snap short dunk wedge prick biscuit
brioche: eggy plait toast enriched
challah: plait strand friday shabbat shalom
roll bun knot: pillow swirl burger dozen glaze batch bun unravel
babka: swirl twist plait
pitta flatbread naan tortilla: puff pocket balloon stone flatbread
cake sponge: crumb layer sink slice icing candle birthday crater dome bake
cheesecake: crack wobble base bath springform slice
brownie blondie traybake bar: square fudgy gooey slab tray cut
muffin cupcake: case top dozen batch lunchbox
macaron: foot feet shell hollow pipe
madeleine: shell hump scallop shape tail
meringue pavlova: crack weep peak whip shell nest marshmallow white
eclair choux profiterole: pipe shell puff hollow nozzle collapse choux
custard curd: scramble curdle wobble lump thicken yolk
ice kulfi gelato semifreddo parfait sorbet granita: ice scoop icy crystal churn freezer
ice kulfi gelato semifreddo parfait sorbet granita: freeze tub cone machine slush frozen
fudge caramel toffee tablet praline brittle: thermometer grainy chewy boil sticky
fudge caramel toffee tablet praline brittle: teeth tooth molten sweet pan syrup
cinder honeycomb: bubble honeycomb crunch bonfire
marshmallow jelly panna delight gummy: gelatine wobble bounce cube squidgy squish set toast
pudding: sauce spoon steam sponge custard
crumble cobbler: topping fruit custard
jam marmalade preserve jelly curd chutney relish: jar lid seal sterilise shelf
jam marmalade preserve jelly curd chutney relish: cupboard pot spread larder toast
pickle sauerkraut kimchi ferment: brine jar ferment fizz sour mould bubble crunch scum film burp gut salt
soda beer kombucha ginger-beer bug kefir: bottle fizz fizzy burst explode bubble pop drink sip flat cap
lassi smoothie punch horchata zobo cordial lemonade juice: glass jug drink sip straw
lassi smoothie punch horchata zobo cordial lemonade juice: gulp pour refresh thirst ice
milk: glass jug strain pour latte coffee tea
soup broth chowder: bowl blend blender ladle thick thin slurp flask
stew casserole chilli tagine: pot bowl simmer tender freezer
curry dal masala korma bhaji: spice gravy sauce naan roti rice creamy tadka
biryani jollof pilaf risotto paella rice: grain pot bottom mushy layer fluffy rice
noodle udon ramen: slurp sauce noodle chopstick wok
pasta spaghetti mac macaroni lasagna orzo gnocchi: pasta sauce fork cheese cheesy stodge
gratin bake: layer cheese top bubbly
salad slaw: dressing leaf crunch raw bowl lunchbox toss
taco wrap burrito kebab: tortilla shell fold fill filling roll
burger patty: bun grill patty barbecue flip hold
fritter falafel latke rosti pakora bhaji: fry flip patty crumble hold ball crisp squeeze
meatball kofta: ball roll sauce mince
dumpling bao gyoza: steam steamer fold pleat wrapper bun
samosa pasty empanada: fold seal fry triangle filling crimp
pancake crepe waffle chilla: flip batter stack syrup pan griddle lace
roast crown: carve slice gravy joint bird rest sunday
traybake sheet: tray roast one-pan
slow cooker: pot hour low lid crock
granola muesli: cluster breakfast bowl crunch milk yogurt
porridge oat: breakfast morning
gingerbread: house roof wall icing cutter men
popcorn: kernel pop
stuffing: bird
overnight: night morning evening
"""

_FOODS = """
chicken turkey duck: bird poultry meat breast bone skin pink raw
beef lamb pork venison: meat butcher tender pink
pork bacon ham gammon chorizo: pig meat
sausage mince: meat butcher
salmon tuna cod haddock mackerel trout sardine: fish fishy fillet
shrimp crab mussel squid: shellfish seafood
egg: yolk white
milk cream butter yogurt cheese buttermilk: dairy
almond walnut pecan hazelnut cashew pistachio: nut nutty
peanut: nut peanutty
sesame tahini: sesame
lentil chickpea bean: pulse legume
garlic: clove breath vampire
chilli cayenne harissa scotch gochugaru jalapeno chipotle: hot heat spicy kick fire fiery mouth
rum whisky brandy wine beer stout vodka: alcohol booze boozy
coffee espresso: caffeine
lemon lime orange: citrus zest zingy juice peel sour sharp
raspberry strawberry blackcurrant blueberry blackberry berry: berry fruit
apple pear plum rhubarb apricot peach cherry mango pineapple: fruit glut orchard
date raisin sultana currant prune: fruit stone
aubergine courgette pepper tomato carrot: vegetable
potato: spud mash peel starch
cabbage: kraut shred
mushroom: fungus
honey: bee runny
treacle syrup: sticky
gelatine: vegetarian leaf sheet
chocolate cocoa: chocolatey dark bitter
cinnamon cardamom clove nutmeg: spice
rose rosewater: floral perfume soap
lavender: floral perfume soap
spinach kale chard: greens leaf
gluten seitan: meaty chewy rubbery
vinegar: sour sharp
fennel: aniseed
mustard: fiery
bicarbonate: soap soapy chemical soda metallic
miso soy: salty umami
psyllium: gel
oat: porridge
white: yolk
yolk: white
yeast: rise dough prove
starter: feed
"""


def _parsed(table: str) -> MappingProxyType[str, tuple[str, ...]]:
    related: dict[str, tuple[str, ...]] = {}
    for line in table.strip().splitlines():
        names, words = line.split(":")
        for name in names.split():
            related[name] = (*related.get(name, ()), *words.split())
    return MappingProxyType(related)


DISHES = _parsed(_DISHES)
"""Word of a title or tag, and what readers of such a dish speak of."""

FOODS = _parsed(_FOODS)
"""Ingredient, and what readers call it or say of it."""
