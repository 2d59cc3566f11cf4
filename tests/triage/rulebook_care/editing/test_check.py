

def test_a_case_of_words_that_fails_is_told_where_it_stands(folder):
    text = (
        b"id: odd\ntitle: Odd\nsymptom: not_freezing\nen:\n  - odd thing\nes:\n  - cosa rara\n"
        b"source: common practice, no source\ncases:\n"
        b'  - {said: "an odd thing", heard: true}\n  - {said: "an odd thing again", heard: false}\n'
    )
    run = FolderCheck(folder).run_cases("words/odd.yml", text)
    assert run.rule_cases == 2
    (failed,) = [each for each in run.failures if each.file == "words/odd.yml"]
    assert (failed.case, failed.line) == ("odd", 11)
    assert failed.message == 'case 2: "an odd thing again" should not be heard'
