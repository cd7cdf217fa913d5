import pytest

from inbox.intake.own_words import own_words

OWN = "I made the loaf and it sank in the middle."

ATTRIBUTIONS = [
    "On 1 Nov 2026, at 09:00, Kitchen <hello@kitchen.example> wrote:",
    "On Sun, Nov 1, 2026 at 9:00 AM Kitchen <hello@kitchen.example> wrote:",
    "On Sunday, 1 November 2026, Kitchen <hello@kitchen.example>\nwrote:",
    "On Sun, Nov 1, 2026 at 9:00 AM A Very Long Name of a Kitchen\n<hello@kitchen.example> wrote:",
    "Kitchen <hello@kitchen.example> wrote:",
    "Am 01.11.2026 um 09:00 schrieb Kitchen:",
    "Am So., 1. Nov. 2026 um 09:00 Uhr schrieb Kitchen <hello@kitchen.example>:",
    "Kitchen <hello@kitchen.example> schrieb am So., 1. Nov. 2026, 09:00:",
    "Le dim. 1 nov. 2026 à 09:00, Kitchen <hello@kitchen.example> a écrit :",
    "Le 01/11/2026 à 09:00, Kitchen a écrit :",
    "El dom, 1 nov 2026 a las 9:00, Kitchen (<hello@kitchen.example>) escribió:",
    "El 1 nov 2026, a las 9:00, Kitchen <hello@kitchen.example> escribió:",
    "Il giorno dom 1 nov 2026 alle ore 09:00 Kitchen <hello@kitchen.example> ha scritto:",
    "Il 01/11/2026 09:00, Kitchen ha scritto:",
    "Op zo 1 nov 2026 om 09:00 schreef Kitchen <hello@kitchen.example>:",
    "Op 01-11-2026 om 09:00 schreef Kitchen:",
    "Em dom., 1 de nov. de 2026 às 09:00, Kitchen <hello@kitchen.example> escreveu:",
    "No dia 1 de nov. de 2026, às 09:00, Kitchen <hello@kitchen.example> escreveu:",
    "2026-11-01 9:00 GMT+01:00 Kitchen <hello@kitchen.example>:",
    "2026-11-01 9:00 GMT+01:00 Kitchen <\nhello@kitchen.example>:",
    "Op 1 nov. 2026 om 09:00 heeft Kitchen <hello@kitchen.example> het volgende geschreven:",
    "På 1 november 2026 på 09:00:00, Kitchen (hello@kitchen.example) skrev:",
    "01.11.2026 09:00, Kitchen <hello@kitchen.example> написал:",
    "---- Kitchen wrote ----",
]

BLOCKS = [
    "From: Kitchen <hello@kitchen.example>\nSent: Sunday, 1 November 2026 09:00\nTo: Ada\nSubject: This week",
    "________________________________\nFrom: Kitchen\nSent: Sunday\nTo: Ada\nSubject: This week",
    "-----Original Message-----\nFrom: Kitchen\nSent: Sunday\nTo: Ada\nSubject: This week",
    "*From:* Kitchen\n*Sent:* Sunday\n*To:* Ada\n*Subject:* This week",
    "Von: Kitchen\nGesendet: Sonntag\nAn: Ada\nBetreff: Diese Woche",
    "-----Ursprüngliche Nachricht-----\nVon: Kitchen\nGesendet: Sonntag\nAn: Ada\nBetreff: Diese Woche",
    "De : Kitchen\nEnvoyé : dimanche\nÀ : Ada\nObjet : Cette semaine",
    "De: Kitchen\nEnviado el: domingo\nPara: Ada\nAsunto: Esta semana",
    "Da: Kitchen\nInviato: domenica\nA: Ada\nOggetto: Questa settimana",
    "Van: Kitchen\nVerzonden: zondag\nAan: Ada\nOnderwerp: Deze week",
    "De: Kitchen\nEnviada em: domingo\nPara: Ada\nAssunto: Esta semana",
    "Från: Kitchen\nSkickat: den 1 november 2026 09:00\nTill: Ada\nÄmne: Veckan",
    "Fra: Kitchen\nSendt: 1. november 2026 09:00\nTil: Ada\nEmne: Ugen",
    "Date: Sun, 1 Nov 2026 09:00:00 +0100\nFrom: hello@kitchen.example\nTo: ada@example.org\nSubject: News",
    "-------- Original Message --------",
    "----- Mensaje original -----",
]
HISTORY = "Dear reader,\n\nthis week: a lemon loaf.\nBest wishes"


def quoted(text: str) -> str:
    return "\n".join(f"> {line}".rstrip() for line in text.split("\n"))


@pytest.mark.parametrize("attribution", ATTRIBUTIONS)
def test_quotation_below_is_taken_off(attribution: str) -> None:
    assert own_words(f"{OWN}\n\n{attribution}\n\n{quoted(HISTORY)}\n", is_answer=True) == OWN


@pytest.mark.parametrize("attribution", ATTRIBUTIONS)
def test_quotation_without_marks_below_is_taken_off(attribution: str) -> None:
    assert own_words(f"{OWN}\n\n{attribution}\n\n{HISTORY}\n", is_answer=True) == OWN


@pytest.mark.parametrize("attribution", ATTRIBUTIONS)
def test_quotation_above_is_taken_off(attribution: str) -> None:
    assert own_words(f"{attribution}\n{quoted(HISTORY)}\n\n{OWN}\n", is_answer=True) == OWN


@pytest.mark.parametrize("attribution", ATTRIBUTIONS[:3])
def test_answers_between_quoted_lines_are_kept(attribution: str) -> None:
    text = f"{attribution}\n> How was the loaf?\nIt sank.\n> And the glaze?\nLovely!\n> Bye\n"
    assert own_words(text, is_answer=True) == "It sank.\nLovely!"


@pytest.mark.parametrize("block", BLOCKS)
def test_everything_below_a_divider_block_is_taken_off(block: str) -> None:
    assert own_words(f"{OWN}\n\n{block}\n\n{HISTORY}\n", is_answer=True) == OWN


@pytest.mark.parametrize(
    "tail",
    [
        "-- \nAda Bell\nBaker of bread",
        "--\nAda",
        "Sent from my iPhone",
        "Sent from my Samsung Galaxy smartphone.",
        "Get Outlook for iOS<https://aka.example/o0ukef>",
        "Sent from Yahoo Mail on Android",
        "Von meinem iPhone gesendet",
        "Gesendet mit der GMX Mail App",
        "Envoyé de mon iPhone",
        "Enviado desde mi iPhone",
        "Inviato da iPhone",
        "Verstuurd vanaf mijn iPhone",
        "Enviado do meu iPhone",
        "Best wishes,\nAda",
        "Kind regards,\nAda Bell\n12 Mill Lane\nTel. 01234 567890",
        "Thanks!\nAda",
        "Viele Grüße\nAda",
        "Cordialement,\nAda",
        "Un saludo,\nAda",
        "Cordiali saluti\nAda",
        "Met vriendelijke groet,\nAda",
        "Abraços,\nAda",
        "Best,\nAda\n\nSent from my iPad",
        "This e-mail and any files transmitted with it are confidential and intended solely for the named\n"
        "recipient. If you have received this message in error please notify the sender and delete it.",
        "Diese E-Mail enthält vertrauliche Informationen und ist nur für den Adressaten bestimmt. Wenn\n"
        "Sie diese Nachricht irrtümlich erhalten haben, informieren Sie den Absender und vernichten Sie sie.",
        "Please consider the environment before printing this e-mail.",
        "You received this message because you are subscribed to the group.\nTo unsubscribe, send a mail.",
    ],
)
def test_what_is_not_the_message_is_taken_off_its_end(tail: str) -> None:
    assert own_words(f"{OWN}\n\n{tail}\n") == OWN


def test_warning_of_a_mail_server_is_taken_off_the_top() -> None:
    banner = "CAUTION: This email originated from outside of the organization. Do not click links."
    assert own_words(f"{banner}\n\n{OWN}") == OWN


@pytest.mark.parametrize(
    "marker",
    [
        "---------- Forwarded message ---------",
        "Begin forwarded message:",
        "-------- Forwarded Message --------",
        "-------- Weitergeleitete Nachricht --------",
        "---------- Message transféré ----------",
        "---------- Mensaje reenviado ----------",
        "---------- Messaggio inoltrato ----------",
        "---------- Doorgestuurd bericht ----------",
        "---------- Mensagem encaminhada ----------",
    ],
)
def test_what_was_forwarded_is_kept(marker: str) -> None:
    text = (
        f"My mother says:\n\n{marker}\nFrom: Bo <bo@example.org>\nDate: 1 Nov 2026\nSubject: loaf\n\n{OWN}\n"
    )
    assert own_words(text, subject="Fwd: loaf") == f"My mother says:\n\n{OWN}"


def test_forward_in_the_way_of_an_office_program_is_kept() -> None:
    text = f"See below.\n\nFrom: Bo\nSent: Sunday\nTo: Ada\nSubject: loaf\n\n{OWN}\n"
    assert own_words(text, subject="FW: loaf") == f"See below.\n\n{OWN}"


@pytest.mark.parametrize(
    "text",
    [
        OWN,
        "From the oven it smelled wonderful.\nFrom the tin it would not come.",
        "My notes:\n- less sugar\n- more salt\n- 180 C",
        "I wrote to you before:\nthe glaze is too thin.",
        "Ingredients I changed:\n\n2 eggs -- large ones\n100 g sugar",
        "Disclaimer: I am no baker. It sank.",
        "On Sunday my sister wrote a card: it was lovely.",
        "Thanks for this recipe, it worked.\n\nCan I freeze it?",
        "Best\nloaf ever! Will you make one with almonds?",
        "To: the cook\nFrom: a happy reader\nIt was delicious.",
        "Love this. Sent to all my friends!",
    ],
)
def test_own_words_stay_as_they_are(text: str) -> None:
    assert own_words(text) == text


def test_answer_that_says_nothing_new_is_empty() -> None:
    assert own_words(f"{ATTRIBUTIONS[0]}\n{quoted(HISTORY)}", is_answer=True) == ""


def test_mail_that_only_quotes_is_kept_when_it_answers_nothing() -> None:
    assert own_words(quoted(OWN)) == OWN


@pytest.mark.parametrize(
    "text", ["> " * 20_000, ">" * 100_000, "On " * 40_000 + "wrote:", "-" * 100_000, "_\n" * 20_000]
)
def test_hostile_text_takes_no_longer_than_its_length(text: str) -> None:
    assert isinstance(own_words(text, is_answer=True), str)


def test_an_attribution_behind_own_words_on_their_line() -> None:
    text = f"{OWN} On Sun, Nov 1, 2026 at 9:00 AM, hello@kitchen.example wrote:\n{quoted(HISTORY)}\n"
    assert own_words(text, is_answer=True) == OWN
    told = f"{OWN} On 1 November, as my sister wrote:\nit needs longer."
    assert own_words(told, is_answer=True) == told


def test_a_forward_that_is_marked_as_quoted_is_kept() -> None:
    forwarded = "From: Ada\nDate: 1 Nov 2026\nSubject: a loaf with a\nlong name\nTo: Bea\n\nIt sank."
    text = f"See below.\n\n{quoted('Begin forwarded message:')}\n>\n{quoted(forwarded)}\n"
    assert own_words(text, subject="Fwd: a loaf") == "See below.\n\nIt sank."


@pytest.mark.parametrize("text", ["Date: Sunday\nIt sank.", "To: taste\nFrom: the tin, warm.\nIt sank."])
def test_lines_that_only_look_like_fields_are_own_words(text: str) -> None:
    assert own_words(f"{OWN}\n{text}", is_answer=True) == f"{OWN}\n{text}"
