"""Which language a message is in: English unless its script or its small words clearly say otherwise.

Dishes travel under foreign names, so "crème brûlée" or "dulce de leche" says nothing; what tells is grammar
(the, is, with, not) and a few words of thanks, taste and baking. The tables are our own (common practice, no
source). Another language in Latin letters is taken for English. Start at `detect_language`.
"""

import re
from collections import Counter
from typing import Final

from inbox.reading.recipe_words import STOP_WORDS

_TABLES: Final = {
    "en": """
the and is was it to of for this that with i you my we they he she have has had not but so very just made
make in on at be been are were will would can could do did does don't didn't it's i'm i've your our me them
their his her its as if or from all one some any more too than then there when what which who how why
because really after before about out up by an no am us only also into over again first next time thanks
thank love loved great good recipe please delicious salt form perfect man son super cake oven pain sale here
came
""",
    "fr": """
le la les un une des du de et est c'est j'ai je tu il elle nous vous ils ne pas plus très que qui dans pour
avec sans sur mais ou où mon ma mes votre vos notre nos ce cette ces sont était ont fait faire été peut
aussi bien trop peu tout tous toute même quand comme si au aux en se sa son leur merci beaucoup recette
recettes bonne bon délicieux délicieuse goût j'adore bonjour salut svp fois cuisson four pâte sucre sel
beurre œufs farine n'est n'a d'un qu'il l'ai puis encore chez peut-on sucré salé salée sec sèche congeler
remplacer mangé adoré réussi raté essayé cuit gâteau pain lait crème heure heures jours semaine fille fils
mari ans moule manque trouve vraiment jamais toujours depuis hier demain soir on s'est referai refaire
faudrait faut ça cela eux lui avoir avais aurais moi toi donc alors déjà deux trois sauce frigo congélateur
dessus dessous milieu chaud froid petit petite grand gros mieux mal plusieurs chaque quelle quel combien
pourquoi comment j'avais l'avoir qu'on qu'elle d'une m'a ici voilà
""",
    "de": """
der die das und ist nicht ich du er sie es wir ihr ein eine einen einem einer mit für auf von zu zum zur im
den dem des war waren habe haben hat hatte aber auch sehr nur noch schon mal mein meine meiner dein deine
euer kann könnte man wenn wie was weil dass doch als bei nach aus über oder bis werden wird wurde sind bin
gut lecker rezept rezepte danke vielen ganz immer wieder kein keine bitte hallo geschmeckt gebacken gemacht
teig zucker backen schmeckt ofen etwas viel mehr süß salzig trocken einfrieren ersetzen gegessen schmecken
probiert kuchen brot milch sahne stunde stunden tage woche tochter sohn mann jahre form fehlt finde wirklich
nie gestern heute abend leider super toll uns ihn mich dir statt gelungen rezeptes kinder einfach schnell
köstlich soße kühlschrank kalt heiß klein groß besser schlecht welche welcher wieviel warum wo hatten hätte
wäre würde müsste sollte darf drei zwei jede jeder dann dort hier also trotzdem obwohl ohne unten oben mitte
keinen meinem unserem nächstes guten fand gab ging geworden
""",
    "es": """
el la los las un una unos de del y es no que en con por para se me te lo le mi mis su sus muy pero más como
cuando si está están estaba fue son era he ha hay han hacer hice hecho quedó queda salió sin sobre también
todo todos nada esta este esto eso ya al o gracias receta recetas rico rica buenísimo buenísima delicioso
deliciosa hola saludos puedo puede horno harina azúcar huevos mantequilla masa gusta gustó encantó bien
mucho mucha mejor porque donde qué cómo cuánto favor demasiado dulce salado salada seco congelar sustituir
comido probado pastel pan leche nata hora horas días semana hija hijo marido años molde falta realmente
nunca siempre ayer mañana noche perfecto perfecta quedaron salieron congela nosotros tarta bizcocho además
tiene tengo salsa nevera congelador frío caliente pequeño grande mal cuál cuánta dónde ella ellos tan tanto
dos tres cada entonces después antes arriba abajo medio había hubiera sería debería hizo pongo puse usar usé
echar eché soy eres tienes tienen cortó subió gustado desde hasta otra otro vez veces
""",
    "it": """
il lo la i gli le un uno una di del della dei delle e è non che in con per si mi ti ci mia mio tuo sua suo
molto ma più come quando se sono era ho hai ha abbiamo fatto fare fatta venuto venuta senza anche tutto
tutti questo questa questi grazie ricetta ricette buono buona buonissimo buonissima ottimo ottima ciao forno
farina zucchero uova burro impasto posso può bene troppo poco perché dove cosa nel nella al alla dal dalla
da sul ancora già davvero complimenti piaciuto dolce salato salata secco congelare sostituire mangiato
provato torta pane latte panna ora ore giorni settimana figlia figlio marito anni teglia manca mai sempre
ieri domani sera perfetto perfetta fatti gusti niente qualcosa l'ho me chiedono ogni quanto conserva salsa
frigo freddo caldo piccolo grande meglio male quale quanta lei loro così tanto due tre poi dopo prima sopra
sotto mezzo avevo avrei sarebbe dovrei tengo messo mettere usato usare miei vostra nostra altra altro volta
volte fa viene
""",
    "nl": """
de het een en is niet ik je jij hij ze wij we van voor met op te dat die dit deze was waren heb hebt heeft
had hebben maar ook heel erg nog al wel mijn jouw jullie kan kun kunnen als hoe wat waar omdat bij naar uit
over of tot worden wordt zijn er geen lekker heerlijk recept recepten bedankt dank dankjewel groetjes
gemaakt gebakken deeg suiker boter eieren oven veel weinig graag hallo keer weer vond smaakt bakken moet om
zo goed gedaan daar toen aan in zoet zout droog invriezen vervangen gegeten geprobeerd cake brood melk room
uur dagen week dochter zoon man jaar vorm ontbreekt echt nooit altijd gisteren morgen avond perfect mislukt
gelukt vriezer bewaren ons hem mij iedereen taart beetje saus koelkast koud warm klein groot beter slecht
welke hoeveel waarom zij hun zoveel twee drie elke dan daarna eerst boven onder midden zou moest mocht
gebruikt gebruiken andere keren blijft gaat ging werd geworden helemaal precies makkelijk snel jammer vind
""",
    "pt": """
o a os as um uma de do da dos das e é não que em no na com por para se me mim meu minha seu sua muito mas
mais como quando está estava foi são era eu ele ela nós você vocês fiz fez fazer feito ficou sem também tudo
todos este esta isso já ao ou obrigada obrigado receita receitas gostei gostoso gostosa delicioso deliciosa
ótimo ótima bom boa oi olá forno farinha açúcar ovos manteiga massa posso pode bem porque onde quanto pra
aqui adorei adoro melhor parabéns doce salgado salgada seco congelar trocar comido provei bolo pão leite
creme nata hora horas dias semana filha filho marido anos forma falta realmente nunca sempre ontem amanhã
noite perfeito perfeita ficaram cresceu nada pode-se gosto delícia deu certo gente vamos adoramos repetir
molho geladeira frigorífico frio quente pequeno grande mal qual quanta dela deles tanto dois três cada então
depois antes cima baixo meio havia seria devia tenho usei usar coloquei colocar botei outra outro vez vezes
dá nem num numa pelo pela até desde
""",
    "pl": """
i w z na do się nie to jest są był była było ja ty on ona my wy że jak co ale bardzo tak dla od po za przez
o u mi mnie moja mój moje czy już tylko też jeszcze bez przy może można mam masz zrobiłam zrobiłem wyszło
wyszedł wyszła wyszły przepis przepisy dziękuję dzięki pyszne pyszny pyszna smaczne ciasto cukru mąki masła
piekarnika jajka super polecam który która które tego tym kiedy bo więc trochę dużo mało dobre dobry
pozdrawiam słodkie słodki słone słony suche suchy zamrozić zastąpić zjadłam próbowałam chleb mleko śmietana
godzina godziny dni tydzień córka syn mąż lat forma brakuje naprawdę nigdy zawsze wczoraj jutro wieczorem
idealne nam nas wszystkim wszyscy rodzina udało ani sos lodówce lodówka zimne ciepłe małe duże lepsze źle
jaki jaka jakie ile gdzie oni tyle dwa trzy każdy potem przed góra dół środku byłoby powinno dałam dałem
użyć użyłam inny raz razy wielkie strasznie bardziej razu żeby albo będzie
""",
    "sv": """
och det är en ett som på av för med inte jag du han hon vi ni de den har hade var till om men så mycket
också bara min mitt mina din kan ska blev blir när hur vad eller från över efter utan man gjorde gjort göra
bakade bakat tack recept recepten gott god goda jättegott jättegod degen socker smör ägg mjöl ugnen bra
väldigt lite mig oss dem här där alla allt detta denna igen hej sött salt torr torrt frysa byta ätit provat
kaka kakan bröd mjölk grädde timme timmar dagar vecka dotter son år form saknas verkligen aldrig alltid igår
imorgon kväll perfekt alldeles barnen frys smaken smakade fick går någon något istället finns såsen sås
kylen kylskåp kallt varmt liten stor större bättre dåligt vilken vilket varför två tre varje sedan först
ovan under mitten skulle borde använda använde tog gång gånger sig direkt helt lätt snabbt enkelt ville
kunde finnas längre länge håller stekt
""",
    "da": """
og det er en et som på af for med ikke jeg du han hun vi i de den har havde var til om men så meget også kun
min mit mine din kan skal blev bliver når hvordan hvad eller fra over efter uden man lavede lavet lave bagte
bagt tak opskrift opskriften godt god gode lækker lækkert dejen sukker smør æg mel ovnen rigtig lidt mig os
dem her der alle alt denne igen hej gange bare hvis nogen noget sødt sød salt tør tørt fryse bytte spist
prøvet kage kagen brød mælk fløde time timer dage uge datter søn år form mangler virkelig aldrig altid går
morgen aften perfekt børnene fryser smagen smagte fik bruge stedet ned synes hævede sauce saucen køleskab
køleskabet koldt varmt lille stor større bedre dårligt hvilken hvilket hvorfor to tre hver siden først under
midten skulle burde brugte bruger gang sig helt let hurtigt nemt ville kunne findes længe længere holde
holder må måtte fed
""",
    "no": """
og det er en et som på av for med ikke jeg du han hun vi de den har hadde var til om men så mye også bare
min mitt mine din kan skal ble blir når hvordan hva eller fra over etter uten man laget lage bakte bakt takk
oppskrift oppskriften godt god gode kjempegodt deigen sukker smør egg mel ovnen veldig litt meg oss dem her
der alle alt denne igjen hei ganger hvis noen noe søtt søt salt tørr tørt fryse bytte spist prøvd kake kaken
brød melk fløte time timer dager uke datter sønn år form mangler virkelig aldri alltid går morgen kveld
perfekt altfor barna fryser smaken smakte fikk bruke stedet ned synes hevet saus sausen kjøleskap
kjøleskapet kaldt varmt liten stor større bedre dårlig hvilken hvilket hvorfor to tre hver siden først under
midten skulle burde brukte bruker gang seg helt lett raskt enkelt ville kunne finnes lenge lenger holde
holder må måtte inni utenpå opp oppi
""",
    "fi": """
ja on ei se että oli olen olet ovat minä sinä hän me te he tämä tuo mutta myös kun niin kuin vain hyvä hyvää
tosi erittäin todella ihan liian vähän paljon minun meidän resepti reseptin ohje kiitos tein teki leivoin
tuli maistui maku taikina sokeria voita munia jauhoja uunissa uuni vai tai jos voiko miten mitä joka sitten
vielä jo kaikki hei moi makea makeaa suolainen suolaista kuiva kuivaa pakastaa korvata söin maistoin kakku
kakun leipä leipää maito maitoa kerma tunti tuntia päivää viikko tytär poika mies vuotta vuoka puuttuu aina
eilen huomenna illalla täydellinen meille kaikille lapset tämän ollenkaan noussut onko olla ole en kastike
jääkaapissa jääkaappi kylmä kuuma pieni iso suuri parempi huono mikä minkä kuinka kauan miksi missä kaksi
kolme ensin päällä alla keskellä pitäisi olisi käytin käyttää käytetään kerta kertaa kokonaan helppo nopea
aivan ihana säilyy tehdä tehtiin ruoka
""",
    "cs": """
a je to na se v s z do že jsem jsi není byl byla bylo jsou ale jak co tak pro po od za i už jen také ještě
bez při může moc velmi mám máš dělala dělal udělala udělal recept recepty děkuji díky dobré dobrý výborný
výborné výborná skvělé těsto cukru mouky másla vejce troubě trochu málo hodně kdy který která které tento
když nebo mi mě sladké sladký slané suché suchý zmrazit nahradit jedla zkoušela koláč chléb chleba mléko
smetana hodina hodiny dní týden dcera syn muž let forma chybí opravdu nikdy vždy včera zítra večer dokonalé
nám nás všem všichni dá chutnalo vůbec místo omáčka lednici lednice studené teplé malé velké lepší špatné
jaký jaká jaké kolik proč kde ona oni tolik dva tři každý každé potom nejdřív nahoře dole uprostřed by mělo
dala dal použít použila jiný krát celé rychle snadné mohu můžu hned strašně dcery k ani
""",
}

_WORD: Final = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)?")

_WORDS: Final = {code: frozenset(table.split()) for code, table in _TABLES.items()}  # one set a language
_IN_DISH_NAMES: Final = frozenset(
    """
à al alla alle au aux con crème crema creme dal de dei del della di do dolce dulce e en et fraîche gâteau i in
kage kaka kakku kuchen la lait latte leche leite masa med mit molho na nata och og pain pan pane panna pão
pâte saus sauce salsa sobre sos sul torta tarta und von y z za
""".split()
)
"""Foods, and the words that join them, which stand in the names of dishes in any language."""

_ENGLISH: Final = _WORDS["en"] | STOP_WORDS
_SHARED_BY: Final = Counter(word for words in _WORDS.values() for word in words)
_TELLING: Final = {word for word, count in _SHARED_BY.items() if count <= 2} - _ENGLISH - _IN_DISH_NAMES
"""Words that stand in few of the tables, and in no dish's name."""
_FOREIGN: Final = tuple(code for code in _TABLES if code != "en")

_TELLING_LETTERS: Final = {
    "fr": "éèêàçœùîôâ", "de": "äöüß", "es": "ñ¿¡áéíóú", "it": "àèìòù", "nl": "ë", "pt": "ãõçáéíóâê",
    "pl": "łąęśźżćń", "sv": "åäö", "da": "æøå", "no": "æøå", "fi": "äö", "cs": "řěůčšžýáí",
}  # fmt: skip

_SCRIPTS: Final = (
    ("\u0370", "\u03ff", "el"), ("\u0400", "\u04ff", "ru"), ("\u0590", "\u05ff", "he"),
    ("\u0600", "\u06ff", "ar"), ("\u0900", "\u097f", "hi"), ("\u0980", "\u09ff", "bn"),
    ("\u0a80", "\u0aff", "gu"), ("\u0b80", "\u0bff", "ta"), ("\u0c00", "\u0c7f", "te"),
    ("\u0e00", "\u0e7f", "th"), ("\u3040", "\u30ff", "ja"), ("\u4e00", "\u9fff", "zh"),
    ("\uac00", "\ud7af", "ko"),
)  # fmt: skip
"""First and last letter of a script, and the language most often written in it."""

_LETTERS_OF: Final = (("ru", "іїєґ", "uk"), ("ar", "پچژگ", "fa"), ("ar", "ٹڈڑے", "ur"))
"""Letters that tell another language of the same script."""

LEAST_SHARE, LEAD_OVER_ENGLISH = 0.2, 1.5
"""Small words of a language needed, as a share of all words and beside the English ones (chosen)."""


def detect_language(text: str) -> str:
    """Return the ISO 639-1 code of the language of `text`; "en" unless it is clearly another.

    Parameters
    ----------
    text : str
        The reader's own words; a few words of a foreign dish's name do not count.
    """
    written = _by_script(text)
    if written is not None:
        return written
    words = [word.lower().replace("’", "'") for word in _WORD.findall(text)]
    if _TELLING.isdisjoint(words):
        return "en"
    english = sum(word in _ENGLISH for word in words)
    best, best_weight = "en", 0.0
    for code in _FOREIGN:
        weight = _weight(words, text, code, least_words=2 if english or len(words) < 3 else 1)
        if weight > best_weight:
            best, best_weight = code, weight
    clear = best_weight >= LEAST_SHARE * len(words) and best_weight > LEAD_OVER_ENGLISH * english
    return best if clear else "en"


def _weight(words: list[str], text: str, code: str, *, least_words: int) -> float:
    """Weight of the evidence for `code`; 0 without enough of its words, one of them in few languages."""
    known = [word for word in words if word in _WORDS[code]]
    if len(set(known)) < least_words or _TELLING.isdisjoint(known):
        return 0.0
    letters = sum(letter in text for letter in _TELLING_LETTERS[code])
    return sum(0.2 if word in _ENGLISH else 1.0 for word in known) + 0.5 * letters


def _by_script(text: str) -> str | None:
    """Return the language of the script that most letters of `text` are in, or None for Latin letters."""
    if text.isascii():
        return None
    letters = [letter for letter in text if letter.isalpha()]
    counts = Counter(code for letter in letters for first, last, code in _SCRIPTS if first <= letter <= last)
    if not counts:
        return None
    code, count = counts.most_common(1)[0]
    if code == "zh" and counts["ja"] > 0:
        code, count = "ja", counts["ja"] + counts["zh"]
    if count * 2 < len(letters):
        return None
    for script, telling, other in _LETTERS_OF:
        if script == code and any(letter in text for letter in telling):
            return other
    return code
